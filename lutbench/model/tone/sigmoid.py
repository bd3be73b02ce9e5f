"""An open family of display transforms: inset, log exposure, sigmoid, outset.

Most display transforms in use today have this form: the channels of light are mixed so that
strong colours lose some purity, the logarithm of exposure goes through an S-shaped curve in
each channel, and part of the mixing is reversed. Here all parameters are settings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, ClassVar, Self

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import MID_GREY
from lutbench.model.encoding import Encoding, meeting
from lutbench.model.gamuts import BT2020, Gamut, conversion
from lutbench.model.parameter import bounded, hold_to_limits
from lutbench.model.tone import ToneMapper
from lutbench.model.tone.shoulder import brightest_shown
from lutbench.model.transforms import Array, Matrix, Pipeline, Transform

LEAST_STOPS_ABOVE = 2.5
"""Least stops above grey: a white diffuser is there, and every source reaches it."""

SPARE = 1.1
"""Factor on the contrast of a straight line to an end, so that the curve can bend."""

SHARES = (0.0, 0.9)
"""Limits of insets and outsets: with 1 all colour would be lost."""

TURNS = (-30.0, 30.0)
"""Limits of turns in degrees: about half the way to the next hue."""

Moves = tuple[float, float, float]


@dataclass(frozen=True)
class Sigmoid(ToneMapper):
    """Light through inset, log exposure, sigmoid and outset.

    1. Inset: each primary is moved towards white by its share (`inset_red` …) and turned
       around white by degrees in xy (`turn_red` …), and R, G, B are read as amounts of the
       moved primaries. So colours come nearer to white, and greys stay.
    2. Exposure: x = (log2(light / grey_in) + below) / (below + above), clamped to 0..1.
    3. Sigmoid: y through grey with slope m, to 0 at x = 0 and to 1 at x = 1; on each side of
       grey y = y_g ± S·t / (1 + t^p)^(1/p) with t = m·|x - x_g| / S, p = `shoulder` above and
       `toe` below, and S such that the curve reaches the end.
    4. The result is white_out·y^gamma. `contrast` is the slope at grey, in stops per stop,
       from which m follows.
    5. Outset: the inverse of an inset with its own shares and no turn (`outset_red` …).

    All steps are in BT.2020, so that colours outside the target's gamut keep their tone; the
    conversion decides how they come into it. Negative light counts as zero.

    Parameters
    ----------
    grey_in, grey_out
        Light of mid grey before and after; `grey_out` is below `white_out`.
    below, above
        Stops below and above grey over which the exposure reaches, 0.1 to 20.
    contrast
        0.1 to 5, and steeper than a straight line to either end.
    toe, shoulder
        How sharply the ends bend, 0.5 (soft) to 10.
    gamma
        The exponent between sigmoid and light, 1 to 4: the gamma of the display.
    white_out
        The brightest result.
    inset_red, inset_green, inset_blue, outset_red, outset_green, outset_blue
        Shares, 0 to 0.9.
    turn_red, turn_green, turn_blue
        Degrees, -30 to 30, counter-clockwise in xy.

    >>> Sigmoid().apply([[0.0] * 3, [0.18] * 3, [0.18 * 2**6.5] * 3]).round(6)[:, 0].tolist()
    [0.0, 0.18, 1.0]
    """

    grey_in: float = bounded(MID_GREY, 1e-4, 100)
    grey_out: float = bounded(MID_GREY, 1e-4, 100)
    below: float = bounded(10.0, 0.1, 20, "stops")
    above: float = bounded(6.5, 0.1, 20, "stops")
    contrast: float = bounded(1.25, 0.1, 5)
    toe: float = bounded(1.5, 0.5, 10)
    shoulder: float = bounded(1.5, 0.5, 10)
    gamma: float = bounded(2.4, 1, 4)
    white_out: float = bounded(1.0, 1e-3, 100)
    inset_red: float = bounded(0.15, *SHARES)
    inset_green: float = bounded(0.15, *SHARES)
    inset_blue: float = bounded(0.15, *SHARES)
    turn_red: float = bounded(0.0, *TURNS, "degrees")
    turn_green: float = bounded(0.0, *TURNS, "degrees")
    turn_blue: float = bounded(0.0, *TURNS, "degrees")
    outset_red: float = bounded(0.1, *SHARES)
    outset_green: float = bounded(0.1, *SHARES)
    outset_blue: float = bounded(0.1, *SHARES)
    kind: ClassVar[str] = "sigmoid"
    method: ClassVar[str] = "sigmoid"
    says: ClassVar[str] = "log exposure through an S curve, colours mixed before and after"

    @classmethod
    def between(
        cls, source: Encoding, target: Encoding, exposure: float = 0.0, **settings: Any
    ) -> Self:
        """A sigmoid from the source's clipping point to the target's white, unless `settings`
        say otherwise; with more contrast if it would not reach both ends."""
        given: dict[str, Any] = dict(settings)
        sides = meeting(source, target)
        if "white_out" not in given:
            given["white_out"] = brightest_shown(target, sides.target)
        grey_in = given.get("grey_in", MID_GREY)
        clip = source.brightest(sides.source)
        if "above" not in given and clip > 0 and grey_in > 0:
            over = math.log2(clip / grey_in) + exposure
            given["above"] = min(max(over, LEAST_STOPS_ABOVE), 20.0)
        if "contrast" not in given:
            steep = cls(**given, contrast=5.0)
            given["contrast"] = max(cls.contrast, SPARE * 5.0 * steep._least / steep._slope)
        return cls(**given)

    def __post_init__(self) -> None:
        hold_to_limits(self, "sigmoid")
        if not self.grey_out < self.white_out:
            raise DefinitionError(
                f"mid grey {self.grey_in:g} to {self.grey_out:g} is out of range",
                where="sigmoid",
                accepted="grey_out below white_out",
            )
        if self._slope <= self._least * (1 + 1e-6):
            over = self.contrast * self._least / self._slope
            raise DefinitionError(
                f"contrast {self.contrast:g} is too low to reach black and white",
                where="sigmoid",
                accepted=f"more than {over:.2f}, or more stops below and above grey",
            )

    @property
    def _grey(self) -> tuple[float, float]:
        """x and y of grey on the sigmoid."""
        x = self.below / (self.below + self.above)
        return x, (self.grey_out / self.white_out) ** (1 / self.gamma)

    @property
    def _least(self) -> float:
        """The slope of the steeper of the two straight lines from grey to the ends."""
        x, y = self._grey
        return max(y / x, (1 - y) / (1 - x))

    @property
    def _slope(self) -> float:
        """The slope of the sigmoid at grey, in y per x, from the contrast in stops per stop."""
        # A step in y is gamma / (y·ln 2) stops of result; a step in x is `span` stops of light.
        span = self.below + self.above
        return self.contrast * self._grey[1] * span * math.log(2) / self.gamma

    def curve(self, light: Array) -> Array:
        """The tone of each channel between inset and outset, any shape; for greys all of it."""
        x = (np.log2(np.maximum(light, 1e-30) / self.grey_in) + self.below) / (
            self.below + self.above
        )
        x = np.clip(x, 0, 1)
        at, grey = self._grey
        up = self._arc(np.maximum(x - at, 0), 1 - at, 1 - grey, self.shoulder)
        down = self._arc(np.maximum(at - x, 0), at, grey, self.toe)
        return np.asarray(self.white_out * np.clip(grey + up - down, 0, 1) ** self.gamma)

    def _curve_back(self, result: Array) -> Array:
        y = np.clip(result / self.white_out, 0, 1) ** (1 / self.gamma)
        at, grey = self._grey
        up = self._arc_back(np.maximum(y - grey, 0), 1 - at, 1 - grey, self.shoulder)
        down = self._arc_back(np.maximum(grey - y, 0), at, grey, self.toe)
        stops = (at + up - down) * (self.below + self.above) - self.below
        return np.asarray(self.grey_in * 2.0**stops)

    def _scale(self, length: float, rise: float, power: float) -> float:
        """The S of the class docstring, so that the curve rises by `rise` over `length`."""
        straight = self._slope * length
        return float(straight / ((straight / rise) ** power - 1) ** (1 / power))

    def _arc(self, distance: Array, length: float, rise: float, power: float) -> Array:
        scale = self._scale(length, rise, power)
        t = self._slope * distance / scale
        return np.asarray(scale * t / (1 + t**power) ** (1 / power))

    def _arc_back(self, risen: Array, length: float, rise: float, power: float) -> Array:
        scale = self._scale(length, rise, power)
        share = (np.minimum(risen, rise) / scale) ** power
        return np.asarray(scale / self._slope * (share / (1 - share)) ** (1 / power))

    @property
    def per_channel(self) -> bool:
        return False

    def within(self, gamut: Gamut) -> Transform:
        """The mapper for light of a gamut; it works in BT.2020 for any gamut."""
        first, last = _around(
            gamut,
            (self.inset_red, self.inset_green, self.inset_blue),
            (self.turn_red, self.turn_green, self.turn_blue),
            (self.outset_red, self.outset_green, self.outset_blue),
        )
        return Pipeline((first, SigmoidCurve(self), last))

    @cached_property
    def _usual(self) -> Transform:
        return self.within(BT2020)

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(self._usual._apply(rgb))

    def inverse(self) -> Transform:
        return self._usual.inverse()


@dataclass(frozen=True)
class SigmoidCurve(Transform):
    """The sigmoid of each channel, without inset and outset."""

    tone: Sigmoid
    kind: ClassVar[str] = "sigmoid_curve"

    def _apply(self, rgb: Array) -> Array:
        return self.tone.curve(rgb)

    def inverse(self) -> SigmoidCurveInverse:
        return SigmoidCurveInverse(self.tone)


@dataclass(frozen=True)
class SigmoidCurveInverse(Transform):
    """The inverse of a sigmoid, for results within 0 to white."""

    tone: Sigmoid
    kind: ClassVar[str] = "sigmoid_curve_inverse"

    def _apply(self, rgb: Array) -> Array:
        return self.tone._curve_back(rgb)

    def inverse(self) -> SigmoidCurve:
        return SigmoidCurve(self.tone)


@lru_cache(maxsize=256)
def _around(gamut: Gamut, inset: Moves, turns: Moves, outset: Moves) -> tuple[Matrix, Matrix]:
    """The matrices before and after the curve, from light of a gamut and back to it."""
    back = mixing(BT2020, outset).inverse()
    before, after = conversion(gamut, BT2020), conversion(BT2020, gamut)
    return (
        Matrix.from_array(mixing(BT2020, inset, turns).array @ before.array),
        Matrix.from_array(after.array @ back.array),
    )


@lru_cache(maxsize=256)
def mixing(gamut: Gamut, shares: Moves, turns: Moves = (0.0, 0.0, 0.0)) -> Matrix:
    """The matrix that reads R, G, B as amounts of primaries that are moved towards white by
    shares and turned by degrees. Its rows add up to 1, so greys stay.

    >>> from lutbench.model.gamuts import BT709
    >>> mixing(BT709, (0.2, 0.2, 0.2)).array.sum(axis=1).round(12).tolist()
    [1.0, 1.0, 1.0]
    """
    white = np.array(gamut.white)
    moved = []
    for primary, share, turn in zip(gamut.primaries, shares, turns, strict=True):
        angle = math.radians(turn)
        rotation = np.array(
            [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
        )
        x, y = (white + (1 - share) * rotation @ (np.array(primary) - white)).tolist()
        moved.append((x, y))
    inner = Gamut("inset", (moved[0], moved[1], moved[2]), gamut.white)
    return Matrix.from_array(np.linalg.solve(gamut.to_xyz, inner.to_xyz))
