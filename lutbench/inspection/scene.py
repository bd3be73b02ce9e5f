"""What a LUT does to the stops of a scene, where the curve of the recording is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.exposure.levels import Levels, levels
from lutbench.model.curves.base import MID_GREY, Curve
from lutbench.model.signal import Range, RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData
from lutbench.tables.nodes import greys

ONE_8_BIT_CODE_SIGNAL = 1 / 255
"""Signal of an 8-bit code: stops nearer than this look the same on most monitors."""

ROLL_OFF_SHARE = 0.95
"""Roll-off starts where a stop gains less than this share of what the steepest stop gains."""

STOPS = np.arange(-16, 16.01, 1 / 24)
"""Stops from mid grey at which the LUT is evaluated."""


@dataclass(frozen=True)
class Contrast(PlainData):
    """Signal gained per stop around mid grey: the mean over half a stop to either side."""

    KEYS = ("signal_per_stop_before=before", "signal_per_stop_after=after", "ratio")

    before: float
    after: float

    @property
    def ratio(self) -> float | None:
        """After the LUT over before it; None for a recording that is flat there."""
        return self.after / self.before if self.before else None


@dataclass(frozen=True)
class Separated(PlainData):
    """The whole stops that come out at least one 8-bit code away from the next; None without."""

    highest_stop: int | None
    """The highest that does so from the stop below it."""
    lowest_stop: int | None
    """The lowest that does so from the stop above it."""


@dataclass(frozen=True)
class SceneReport(PlainData):
    """What happens to the stops of a scene: the levels of the curve and of the LUT, and more."""

    KEYS = (
        *("curve=levels.curve.name", "contrast_at_mid_grey=contrast"),
        *("roll_off_stops=roll_off", "separated"),
    )

    levels: Levels
    contrast: Contrast
    roll_off: float | None
    """The exposure, in stops from mid grey, from which a stop gains less signal than 95 % of what
    the steepest stop gains; None if the recording clips before that."""
    separated: Separated


def scene_report(
    lut: Transform,
    curve: Curve,
    *,
    lut_name: str = "",
    source_range: Range | None = None,
    target_range: Range = "full",
) -> SceneReport:
    """What `lut` does to the stops of a recording on `curve`."""
    source_range = source_range or curve.formula_codes
    day = levels(
        curve, lut, lut_name=lut_name, source_range=source_range, target_range=target_range
    )
    before = np.clip(curve.encode(MID_GREY * 2.0**STOPS), *curve.ends)
    after = _through(lut, before, source_range, target_range)
    clip = np.log2(curve.clip / MID_GREY)
    recorded = clip + 1e-6 >= STOPS
    whole = np.arange(-16, 17)
    steps = np.diff(np.interp(whole, STOPS, after))
    held = whole[1:] < clip + 1  # the stop in which the recording clips counts
    apart = (steps >= ONE_8_BIT_CODE_SIGNAL - 1e-9) & held
    return SceneReport(
        day,
        Contrast(_contrast(before), _contrast(after)),
        _roll_off(after, recorded),
        Separated(
            int(whole[1:][apart].max()) if apart.any() else None,
            int(whole[:-1][apart].min()) if apart.any() else None,
        ),
    )


def _through(lut: Transform, signal: Array, source: Range, target: Range) -> Array:
    values = np.clip(RangeFromSignal(source).apply(greys(signal)), 0, 1)
    out = np.asarray(lut.apply(values), dtype=np.float64)
    return np.asarray(SignalFromRange(target).apply(out).mean(axis=1))


def _contrast(signal: Array) -> float:
    return float(np.interp(0.5, STOPS, signal) - np.interp(-0.5, STOPS, signal))


def _roll_off(after: Array, recorded: NDArray[np.bool_]) -> float | None:
    """The first stop above the steepest one that gains less than `ROLL_OFF_SHARE` of it."""
    width = 12  # half a stop to each side; less would show the steps of the lattice
    gain = np.full(after.shape, np.nan)
    gain[width:-width] = after[2 * width :] - after[: -2 * width]
    inside = recorded & np.isfinite(gain)
    if not inside.any() or np.nanmax(gain[inside]) <= 0:
        return None
    peak = int(np.nanargmax(np.where(inside, gain, np.nan)))
    lower = inside & (np.arange(len(gain)) > peak) & (gain < ROLL_OFF_SHARE * gain[peak])
    return float(STOPS[int(np.argmax(lower))]) if lower.any() else None
