"""The check of a calibrated display: a second set of readings against the target."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lutbench.display.measurements import Measurements
from lutbench.display.target import Target
from lutbench.errors import LutbenchError
from lutbench.measure.delta_e import delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz
from lutbench.measure.difference import DeltaESpreads, Spread
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.model.transforms import Array, Colour, Mask
from lutbench.results import PlainData

NEUTRAL_SIGNAL = 1e-9
"""Signal: a patch is grey if its channels differ by less than this."""

DARK_SIGNAL = 0.02
"""Signal: below it no gamma is given, as noise dominates the reading."""

BRIGHT_SIGNAL = 0.92
"""Signal: above it no gamma is given, as noise dominates the small logarithms."""


@dataclass(frozen=True)
class GreyStep(PlainData):
    """A grey of the check: what was measured, what the target wants, and their difference."""

    level: float
    """Signal, 0..1."""
    luminance: float
    """cd/m²."""
    wanted: float
    """cd/m² by the target."""
    gamma: float | None
    """log(luminance / white) / log(level); None near the ends, where noise dominates."""
    gamma_wanted: float | None
    balance: tuple[float, float, float]
    """Linear R, G, B in the target's gamut, divided by the luminance; 1 each is neutral."""
    xy: tuple[float, float]
    delta_e_2000: float
    delta_e_itp: float


@dataclass(frozen=True, eq=False)
class CheckedPatch(PlainData):
    """A patch as it was read; XYZ in cd/m²."""

    name: str
    signal: Colour
    xyz: Colour
    wanted_xyz: Colour
    delta_e_2000: float
    delta_e_itp: float


@dataclass(frozen=True, eq=False)
class DisplayCheck(PlainData):
    """How near a display comes to its target."""

    KEYS = ("target", "patches", "greys", "spreads")

    readings: Measurements
    """The signals of the target that were shown, and their readings."""
    target: Target
    """The target, with the peak and black that were measured or given."""

    @cached_property
    def wanted(self) -> Array:
        """XYZ of the target in cd/m², shape (n, 3)."""
        return self.target.xyz(np.clip(self.readings.signal, 0, 1))

    @cached_property
    def delta_e_2000(self) -> Array:
        """ΔE 2000 by patch, shape (n,), relative to the target's white."""
        white = self.target.white
        return delta_e_2000(
            lab_from_xyz(self.readings.xyz, white), lab_from_xyz(self.wanted, white)
        )

    @cached_property
    def delta_e_itp(self) -> Array:
        """ΔE ITP by patch, shape (n,)."""
        return delta_e_itp(itp_from_xyz(self.readings.xyz), itp_from_xyz(self.wanted))

    @property
    def neutral(self) -> Mask:
        """Which patches are greys, shape (n,)."""
        return np.asarray(np.ptp(self.readings.signal, axis=1) < NEUTRAL_SIGNAL)

    @cached_property
    def spreads(self) -> dict[str, DeltaESpreads]:
        """ΔE of all patches, of greys, and of colours."""
        sets: dict[str, Mask] = {
            "all": np.ones(len(self.wanted), dtype=np.bool_),
            "greys": self.neutral,
        }
        sets["colours"] = ~self.neutral
        return {
            name: {
                "delta_e_2000": Spread.of(self.delta_e_2000[which]),
                "delta_e_itp": Spread.of(self.delta_e_itp[which]),
            }
            for name, which in sets.items()
            if which.any()
        }

    @cached_property
    def greys(self) -> tuple[GreyStep, ...]:
        """The greys from dark to bright; patches shown twice are averaged."""
        levels, index = np.unique(self.readings.signal[self.neutral, 0], return_inverse=True)
        rows = np.flatnonzero(self.neutral)
        return tuple(self._step(float(v), rows[index == k]) for k, v in enumerate(levels))

    def _step(self, level: float, rows: Array) -> GreyStep:
        xyz, wanted = self.readings.xyz[rows].mean(axis=0), self.wanted[rows[0]]
        linear = np.linalg.solve(self.target.gamut.to_xyz, xyz) / max(float(xyz[1]), 1e-9)
        total = float(xyz.sum()) or 1.0
        red, green, blue = linear.tolist()
        return GreyStep(
            level,
            float(xyz[1]),
            float(wanted[1]),
            _gamma(level, float(xyz[1]) / self.target.peak),
            _gamma(level, float(wanted[1]) / self.target.peak),
            (red, green, blue),
            (float(xyz[0]) / total, float(xyz[1]) / total),
            float(self.delta_e_2000[rows].mean()),
            float(self.delta_e_itp[rows].mean()),
        )

    @property
    def patches(self) -> list[CheckedPatch]:
        """Each patch with its reading."""
        read = self.readings
        columns = (
            *(read.names, read.signal, read.xyz, self.wanted),
            *(self.delta_e_2000, self.delta_e_itp),
        )
        return [CheckedPatch(*row) for row in zip(*columns, strict=True)]


def check_display(
    readings: Measurements,
    curve: Curve,
    gamut: Gamut,
    peak: float | None = None,
    black: float | None = None,
    mastered_at: float | None = None,
) -> DisplayCheck:
    """Readings of a calibrated display against a target.

    `peak` and `black` are those of the target, in cd/m². Default: those that were measured.

    Raises LutbenchError when white or black is neither given nor among the patches.
    """
    read = {"white": readings.mean(1, 1, 1), "black": readings.mean(0, 0, 0)}
    named = {"white": peak, "black": black}
    levels: dict[str, float] = {}
    for name, value in named.items():
        reading = read[name]
        if value is None and reading is None:
            raise LutbenchError(
                f"the readings have no {name}, and none is given for the target",
                accepted=f"a patch of {name}, or --{'peak' if name == 'white' else 'black'}",
            )
        levels[name] = value if value is not None else float(reading[1])  # type: ignore[index]
    white, dark = levels["white"], levels["black"]
    target = Target(curve, gamut, white, max(dark, 0.0), mastered_at)
    return DisplayCheck(readings, target)


def _gamma(level: float, light: float) -> float | None:
    if not DARK_SIGNAL < level < BRIGHT_SIGNAL or light <= 0:
        return None
    return float(np.log(light) / np.log(level))
