"""Parts that have no name: the curve and the primaries as the LUT itself shows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import End
from lutbench.identification.forms.yardstick import Yardstick
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.result import TOLD
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.gamuts import Gamut
from lutbench.model.transforms import Array

LEAVES, NOISE_LEAVES = 0.5, 1.5
"""Codes, and times the noise, that a free form may leave and be called a measurement."""

EARNED = 20.0
"""Nats by which a free curve must do better than the nearest name to be told instead of it."""

PAIRED = 30.0
"""Nats that a free curve may lose beside a named pair of gamuts: its matrix frees six numbers."""

FEWEST = 6
"""Neutral nodes that tell a display."""

POINTS = 65
"""Rows of a measured curve."""

CURVE, GAMUT = "measured curve", "measured gamut"


@dataclass(frozen=True)
class MeasuredCurve:
    """A source curve without a name: signals of full scale, light in the scale of the nearest.

    `nearest` is the name that comes nearest, `codes_off` by how many 10-bit codes it misses
    at the 95th percentile of the signal that the LUT shows.
    """

    curve: Tabulated
    nearest: str
    codes_off: float

    @property
    def black(self) -> float:
        """The signal of no light."""
        return float(self.curve.encode(0.0))

    @property
    def grey(self) -> float:
        """The signal of mid grey."""
        return self.curve.mid_grey

    @property
    def stop(self) -> float:
        """Signal gained per stop, over the stop above mid grey."""
        return float(self.curve.encode(2 * MID_GREY)) - self.grey

    @property
    def words(self) -> str:
        """The curve in a sentence."""
        return (
            f"a curve that has no name here: black {100 * self.black:.1f} %, mid grey "
            f"{100 * self.grey:.1f} %, {100 * self.stop:.1f} % a stop above it; nearest by name: "
            f"{self.nearest} ({self.codes_off:.1f} codes off)"
        )

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "black_signal": self.black,
            "grey_signal": self.grey,
            "signal_per_stop": self.stop,
            "nearest": self.nearest,
            "codes_off": self.codes_off,
            "light": list(self.curve.light),
            "signal": list(self.curve.signal),
        }


@dataclass(frozen=True)
class Measured:
    """What was measured where names were not earned; None where a name was, or nothing shows.

    Primaries are seen against `against`, the target gamut as it is named, without adaptation.
    """

    curve: MeasuredCurve | None = None
    gamut: Gamut | None = None
    against: str = ""

    @property
    def words(self) -> str:
        """Both in a sentence or two."""
        told = []
        if self.curve is not None:
            told.append(f"Expects {self.curve.words}.")
        if self.gamut is not None:
            points = ", ".join(f"{x:.4f} {y:.4f}" for x, y in self.gamut.primaries)
            points = points.replace("-", "−")
            told.append(f"Its primaries, seen against {self.against}, are at xy {points}.")
        return " ".join(told)

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "source_curve": self.curve.to_data() if self.curve else None,
            "source_gamut": self.gamut.to_data() | {"against": self.against}
            if self.gamut
            else None,
        }

    def toml(self) -> str:
        """Definitions of what was measured, as every command reads them."""
        lines = []
        if self.curve is not None:
            rows = {"light": self.curve.curve.light, "signal": self.curve.curve.signal}
            lines += [f'[curves."{CURVE}"]', 'kind = "table"']
            lines += [
                f"{key} = [{', '.join(f'{value:.9g}' for value in values)}]"
                for key, values in rows.items()
            ]
            lines.append("")
        if self.gamut is not None:
            points = ", ".join(f"[{x:.6f}, {y:.6f}]" for x, y in self.gamut.primaries)
            x, y = self.gamut.white
            lines += [f'[gamuts."{GAMUT}"]', f"primaries = [{points}]", f"white = [{x}, {y}]", ""]
        return "\n".join(lines)


def measured_of(
    h: Hypothesis,
    yard: Yardstick,
    probabilities: dict[str, float],
    samples: Samples,
    targets: Sequence[End],
) -> Measured | None:
    """What the LUT shows of the parts whose names were not earned; None where that is nothing."""
    most = LEAVES + NOISE_LEAVES * samples.noise
    curve = gamut = bent = None
    matrix = yard.matrix
    fits = yard.errors[1] <= most
    source = probabilities.get("source curve", 1.0)
    least = min(yard.named, yard.free_matrix)
    paired = yard.held is not None and yard.held.nats - yard.free_curve <= PAIRED
    if paired and yard.held and yard.held.error <= most and source < TOLD:
        bent, matrix, fits = yard.held.light, yard.bent_matrix, True
    elif source < TOLD and yard.errors[2] <= most and least - yard.free_curve > EARNED:
        bent, matrix, fits = yard.light, yard.bent_matrix, True
    if bent is not None:
        curve = _curve(h, yard, _scaled(yard.grid, bent, samples, targets, most))
    told = probabilities.get("source gamut", 1.0) >= TOLD
    target = h.pair.target.gamut
    if not told and not h.pair.alike and fits and target is not None:
        gamut = _gamut(matrix, target)
    if curve is None and gamut is None:
        return None
    return Measured(curve, gamut, h.pair.target.name if gamut else "")


def _scaled(
    grid: Array, light: Array, samples: Samples, targets: Sequence[End], most: float
) -> Array:
    """Light with the black of a display that it is plainly shown on, where there is one.

    Any black and gain of light leave the LUT as it is under a tone curve of its own. Where
    the neutral axis is a display's curve, display light is light in but for both.
    """
    inputs, outputs = samples.neutral_in, samples.neutral.mean(axis=1)
    clear = samples.inside(samples.neutral).all(axis=1)
    clear &= (inputs > grid[0]) & (inputs < grid[-1])
    x = np.interp(inputs[clear], grid, light)
    least, best = most, light
    for end in targets:
        if not end.curve.curve.shown or clear.sum() < FEWEST:
            continue
        y = np.asarray(end.decode(outputs[clear]))
        rise = np.gradient(outputs[clear], y) * CODES
        fine = np.isfinite(y) & np.isfinite(rise)
        if fine.sum() < FEWEST:
            continue
        a = np.stack([x[fine], np.ones(fine.sum())], axis=1) * rise[fine, None]
        solved = np.linalg.lstsq(a, y[fine] * rise[fine], rcond=None)[0]
        left = float(np.sqrt(np.mean((a @ solved - y[fine] * rise[fine]) ** 2)))
        if left < least and solved[0] > 0:
            least, best = left, light + solved[1] / solved[0]
    return best


def _curve(h: Hypothesis, yard: Yardstick, bent: Array) -> MeasuredCurve | None:
    rows = np.linspace(0, len(yard.grid) - 1, POINTS).round().astype(np.int64)
    signal, light = yard.grid[rows], bent[rows]
    keep = np.concatenate([[True], np.diff(light) > 1e-9 * np.abs(light[1:]) + 1e-12])
    try:
        curve = Tabulated(CURVE, tuple(light[keep].tolist()), tuple(signal[keep].tolist()))
    except LutbenchError:
        return None
    named = np.asarray(h.source.encode(bent))
    off = np.abs(named - yard.grid)[np.isfinite(named)]
    return MeasuredCurve(curve, h.source.curve.name, float(np.percentile(off, 95) * CODES))


def _gamut(matrix: Array, target: Gamut) -> Gamut | None:
    columns = target.to_xyz @ matrix
    points = (columns[:2] / columns.sum(axis=0)).T
    red, green, blue = ((float(x), float(y)) for x, y in points)
    try:
        return Gamut(GAMUT, (red, green, blue), target.white, "measured in a LUT")
    except LutbenchError:
        return None
