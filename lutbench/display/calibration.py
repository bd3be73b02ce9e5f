"""The LUT that calibrates a display to a target."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from lutbench.algebra.chaining import chain
from lutbench.display.model import DisplayModel
from lutbench.display.target import Target
from lutbench.measure.delta_e import delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz
from lutbench.measure.difference import DeltaESpreads, Spread
from lutbench.measure.samples import chart_light
from lutbench.model.signal import Range, RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Transform, steps_of
from lutbench.results import PlainData
from lutbench.tables.lut import USUAL_SIZE, Lut
from lutbench.tables.nodes import sample

GREYS = 101
"""Greys by which a calibration is judged: one per percent."""

COLOURS = 3000
"""Random signals by which a calibration is judged: enough for a stable 95th percentile."""


@dataclass(frozen=True, eq=False)
class Calibration(Transform):
    """From the target's signal to the display's signal, both full scale, 0..1."""

    model: DisplayModel
    target: Target
    kind: ClassVar[str] = "display_calibration"

    def _apply(self, rgb: Array) -> Array:
        return self.model.signal(self.target.xyz(np.clip(rgb, 0, 1)))

    def __repr__(self) -> str:
        peak = f"{self.target.peak:.4g} cd/m²"
        return f"Calibration({self.target.curve.name!r}, {self.target.gamut.name!r}, {peak})"

    def to_data(self) -> dict[str, Any]:
        return {"kind": self.kind, "target": self.target.to_data()}


@dataclass(frozen=True, eq=False)
class Calibrated(PlainData):
    """A calibration LUT, and what the display shows with it according to its model."""

    lut: Lut
    """The LUT, full-scale values to full-scale values."""
    expected: dict[str, DeltaESpreads]
    """ΔE 2000 and ΔE ITP between the target and what the display shows: for greys, for the colours
    of the measured chart, and for random signals (many of which a display of small gamut cannot
    show)."""


def calibrate(
    model: DisplayModel,
    target: Target,
    size: int = USUAL_SIZE,
    *,
    source_range: Range = "full",
    display_range: Range = "full",
    behind: Lut | None = None,
) -> Calibrated:
    """The calibration LUT of a display.

    Parameters
    ----------
    size
        Nodes along an edge.
    source_range, display_range
        The signal range of the LUT's input and output. The output of `behind`, where given,
        must be in `source_range`.
    behind
        A monitoring LUT to combine with: the result applies it first, then the calibration.
    """
    calibration: Transform = Calibration(model, target)
    if source_range == "legal":
        calibration = SignalFromRange("legal") | calibration
    if display_range == "legal":
        calibration = calibration | RangeFromSignal("legal")
    alone = sample(calibration, size)
    lut: Lut = alone
    if behind is not None:
        lut = chain([behind, *steps_of(calibration)], size).lut
    return Calibrated(lut, _expected(model, target, alone, source_range, display_range))


def _expected(
    model: DisplayModel, target: Target, lut: Transform, source_range: Range, display_range: Range
) -> dict[str, DeltaESpreads]:
    colours = np.random.default_rng(3).uniform(0, 1, (COLOURS, 3))
    greys = np.repeat(np.linspace(0, 1, GREYS)[:, None], 3, axis=1)
    sets = {"greys": greys, "chart": _chart(target), "random": colours}
    expected = {}
    for name, signal in sets.items():
        sent = RangeFromSignal(source_range).apply(signal)
        came = SignalFromRange(display_range).apply(lut.apply(sent))
        shown, wanted = model.xyz(np.clip(came, 0, 1)), target.xyz(signal)
        expected[name] = differences(shown, wanted, target.white)
    return expected


def _chart(target: Target) -> Array:
    """The measured chart in the target's encoding, white reflectance at the target's white."""
    light = chart_light(target.gamut)
    return np.clip(target.curve.encode(np.clip(light, 0, None)), 0, 1)


def differences(shown: Array, wanted: Array, white: Array) -> DeltaESpreads:
    """Spreads of ΔE 2000 (relative to `white`) and ΔE ITP; all XYZ in cd/m², shape (n, 3)."""
    return {
        "delta_e_2000": Spread.of(
            delta_e_2000(lab_from_xyz(shown, white), lab_from_xyz(wanted, white))
        ),
        "delta_e_itp": Spread.of(delta_e_itp(itp_from_xyz(shown), itp_from_xyz(wanted))),
    }
