"""Steps with numbers of their own: on light before the tone curve, or on the signal after it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar

import numpy as np

from lutbench.identification.common import DARK, DENSE
from lutbench.model.curves.base import MID_GREY
from lutbench.model.gamut_map import LAB_FROM_ROOTS, lms_matrix
from lutbench.model.gamuts import BT709, BT2020, P3_D65
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array, Transform

WIDER = (BT709, P3_D65, BT2020)
"""The primaries that displays have, from narrow to wide."""

TURNS = 6
"""Steps of Newton's method to the inverse, after which it hardly changes."""

FLATTEST = 0.1
"""The least slope that is divided by: below it colours would change places."""


class _Step(Transform):
    """A step that gives what it can for values far outside of a picture, without warnings."""

    def _apply(self, rgb: Array) -> Array:
        with np.errstate(all="ignore"):
            return np.asarray(self._changed(rgb))

    def _changed(self, rgb: Array) -> Array:
        raise NotImplementedError

    def _undone(self, rgb: Array) -> Array:
        raise NotImplementedError

    def inverse(self) -> Transform:
        return _Inverse(self)


@dataclass(frozen=True)
class Paling(_Step):
    """Highlights that lose colour: from `start` stops above mid grey a smooth step over `length`
    stops mixes in luminance, up to the share `most`. Common practice of display rendering.
    """

    start: float
    length: float
    most: float
    red: float
    blue: float
    """The shares of red and blue in luminance."""
    grey: float = MID_GREY
    """The light of mid grey."""

    kind: ClassVar[str] = "paling"

    def about(self, grey: float) -> Paling:
        """The same with stops from another light."""
        return replace(self, grey=grey)

    def _changed(self, rgb: Array) -> Array:
        gain = self.grey / MID_GREY
        return gain * paler(rgb / gain, self._numbers)

    def _undone(self, rgb: Array) -> Array:
        gain = self.grey / MID_GREY
        rgb = rgb / gain
        grey, kept = _paled(rgb, self._numbers)
        return np.asarray(gain * (grey + (rgb - grey) / np.maximum(kept, DARK)))

    @property
    def _numbers(self) -> Array:
        return np.array((self.start, self.length, self.most, self.red, self.blue))

    def __str__(self) -> str:
        return (
            f"highlights that lose up to {100 * self.most:.0f} % of their colour, from "
            f"{self.start + np.log2(self.grey / MID_GREY):+.1f} stops over {self.length:.1f} stops"
        ).replace("-", "−")


@dataclass(frozen=True)
class Density(_Step):
    """Colours that are darker the more colourful they are: light times 1 − strength·c^power, c the
    share by which the least channel is below the largest. Common practice of film-like grading.
    """

    strength: float
    power: float

    kind: ClassVar[str] = "density"

    def _changed(self, rgb: Array) -> Array:
        return np.asarray(rgb * denser(rgb, np.array((self.strength, self.power))))

    def _undone(self, rgb: Array) -> Array:
        return undensed(rgb, np.array((self.strength, self.power)))

    def __str__(self) -> str:
        return f"colourful colours that are darker, by up to {100 * self.strength:.0f} %"


@dataclass(frozen=True)
class Vibrance(_Step):
    """Chroma of Oklab times 1 + amount·exp(−chroma / reach), in the light of a display. Common
    practice: pale colours gain more colour.
    """

    amount: float
    reach: float
    display: tuple[float, float, float]
    """See `_to_lab`."""

    kind: ClassVar[str] = "vibrance"

    def _changed(self, rgb: Array) -> Array:
        lab = _to_lab(rgb, np.array(self.display))
        chroma = np.hypot(lab[..., 1:2], lab[..., 2:])
        lab[..., 1:] *= 1 + self.amount * np.exp(-chroma / self.reach)
        return _from_lab(lab, np.array(self.display))

    def _undone(self, rgb: Array) -> Array:
        return unlivened(rgb, np.array((self.amount, self.reach, *self.display)))

    def __str__(self) -> str:
        gains = "more" if self.amount > 0 else "less"
        return f"pale colours that have up to {100 * abs(self.amount):.0f} % {gains} colour"


@dataclass(frozen=True)
class HueTurn(_Step):
    """Hues of Oklab turned by two waves of the hue, in light as `Vibrance` has it."""

    waves: tuple[float, float, float, float]
    """Radians: cosine and sine of the hue, and of twice the hue."""
    display: tuple[float, float, float]
    """See `_to_lab`."""

    kind: ClassVar[str] = "hue_turn"

    def _changed(self, rgb: Array) -> Array:
        numbers = np.array((*self.waves, *self.display))
        lab = _to_lab(rgb, numbers[4:])
        hue = np.arctan2(lab[..., 2], lab[..., 1])
        return _from_lab(_at_hue(lab, hue + _turn(hue, numbers)), numbers[4:])

    def _undone(self, rgb: Array) -> Array:
        return unturned(rgb, np.array((*self.waves, *self.display)))

    def __str__(self) -> str:
        hue = np.linspace(-np.pi, np.pi, 361)
        most = np.rad2deg(np.abs(_turn(hue, np.array(self.waves))).max())
        return f"hues that turn by up to {most:.0f}°"


@dataclass(frozen=True)
class LumaTint(_Step):
    """A colour that is added by luma, as the greys show it: split toning.

    `points` are the luma after it, and what R, G and B have gained there.
    """

    points: tuple[tuple[float, float, float, float], ...]

    kind: ClassVar[str] = "luma_tint"

    def _changed(self, rgb: Array) -> Array:
        after, tint = self._dense
        before = after - np.array(CDL_WEIGHTS) @ tint
        return np.asarray(rgb + _along(rgb, np.maximum.accumulate(before), tint))

    def _undone(self, rgb: Array) -> Array:
        return np.asarray(rgb - _along(rgb, *self._dense))

    @cached_property
    def _dense(self) -> tuple[Array, Array]:
        from scipy.interpolate import CubicSpline

        points = np.array(self.points)
        luma = np.linspace(points[0, 0], points[-1, 0], DENSE)
        return luma, np.ascontiguousarray(CubicSpline(points[:, 0], points[:, 1:])(luma).T)

    def __str__(self) -> str:
        most = 100 * np.abs(np.array(self.points)[:, 1:]).max()
        return f"a tint by luma of up to {most:.1f} % of the signal (split toning)"


def _along(rgb: Array, luma: Array, tint: Array) -> Array:
    """What colours gain by their luma, of a table of luma (n,) and gains (3, n)."""
    at = rgb @ np.array(CDL_WEIGHTS)
    return np.stack([np.interp(at, luma, each) for each in tint], axis=-1)


@dataclass(frozen=True)
class _Inverse(_Step):
    """Of a step."""

    step: _Step

    def _changed(self, rgb: Array) -> Array:
        return self.step._undone(rgb)

    def inverse(self) -> Transform:
        return self.step


LOOKS = (Paling, Density)
"""Looks on light before the tone curve."""

AFTER = (Density, Vibrance, HueTurn, LumaTint)
"""Those that may come after the tone curve."""


def undensed(rgb: Array, numbers: Array) -> Array:
    """Before colours were made denser; numbers (..., 2)."""
    return np.asarray(rgb / denser(rgb, numbers))


def _to_lab(rgb: Array, display: Array) -> Array:
    """Oklab of the signal of a display. Its numbers (..., 3) are the power of its curve, the offset
    in it (0.055 in sRGB, 0.099 in BT.709, 0 in a plain power) and its primaries (0 to 2: `WIDER`).
    """
    power, offset, knee = _curve(display)
    above = ((np.maximum(rgb, knee) + offset) / (1 + offset)) ** power
    light = above * np.clip(rgb / np.maximum(knee, DARK), 0, 1)
    return np.asarray(np.cbrt(_mixed(_to_lms(display), light)) @ LAB_FROM_ROOTS.T)


def _from_lab(lab: Array, display: Array) -> Array:
    power, offset, knee = _curve(display)
    roots = lab @ np.linalg.inv(LAB_FROM_ROOTS).T
    light = np.maximum(_mixed(np.asarray(np.linalg.inv(_to_lms(display))), roots**3), 0.0)
    least = ((knee + offset) / (1 + offset)) ** power
    above = np.maximum(light, least) ** (1 / power) * (1 + offset) - offset
    return np.asarray(above * np.clip(light / np.maximum(least, DARK**2), 0, 1))


def _curve(display: Array) -> tuple[Array, Array, Array]:
    """Power, offset, and the signal below which the curve is its tangent through black."""
    power, offset = display[..., :1], display[..., 1:2]
    return power, offset, offset / (power - 1)


def _to_lms(display: Array) -> Array:
    """From light, (..., 3, 3); between two sets of primaries a mixture, which no display has."""
    at = display[..., 2]
    shares = [np.maximum(1 - np.abs(at - k), 0.0)[..., None, None] for k in range(len(WIDER))]
    return np.asarray(sum(s * lms_matrix(each) for s, each in zip(shares, WIDER, strict=True)))


def _mixed(matrix: Array, rgb: Array) -> Array:
    """Every matrix (..., 3, 3) times its colours (..., 3)."""
    return np.asarray(sum(matrix[..., k] * rgb[..., k : k + 1] for k in range(3)))


def _at_hue(lab: Array, hue: Array) -> Array:
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    return np.stack([lab[..., 0], chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def _turn(hue: Array, numbers: Array) -> Array:
    a, b, c, d = (numbers[..., k] for k in range(4))
    turn = a * np.cos(hue) + b * np.sin(hue) + c * np.cos(2 * hue) + d * np.sin(2 * hue)
    return np.asarray(turn)


def unturned(rgb: Array, numbers: Array) -> Array:
    """Before hues were turned: Newton's method; numbers (..., 7)."""
    lab = _to_lab(rgb, numbers[..., 4:])
    after = np.arctan2(lab[..., 2], lab[..., 1])
    a, b, c, d = (numbers[..., k] for k in range(4))
    hue = after - _turn(after, numbers)
    for _ in range(TURNS):
        slope = 1 + b * np.cos(hue) - a * np.sin(hue)
        slope += 2 * d * np.cos(2 * hue) - 2 * c * np.sin(2 * hue)
        hue = hue - (hue + _turn(hue, numbers) - after) / np.maximum(slope, FLATTEST)
    return _from_lab(_at_hue(lab, hue), numbers[..., 4:])


def unlivened(rgb: Array, numbers: Array) -> Array:
    """Before chroma was raised: Newton's method; numbers (..., 5)."""
    amount, reach = (numbers[..., k] for k in range(2))
    lab = _to_lab(rgb, numbers[..., 2:])
    after = np.hypot(lab[..., 1], lab[..., 2])
    chroma = after / (1 + amount * np.exp(-after / reach))
    for _ in range(TURNS):
        part = amount * np.exp(-chroma / reach)
        slope = np.maximum(1 + part * (1 - chroma / reach), FLATTEST)
        chroma = np.maximum(chroma - (chroma * (1 + part) - after) / slope, 0.0)
    share = chroma / np.where(after > 0, after, 1.0)
    lab[..., 1:] *= share[..., None]
    return _from_lab(lab, numbers[..., 2:])


def _paled(rgb: Array, numbers: Array) -> tuple[Array, Array]:
    """Luminance, and the share of colour that is kept; numbers (..., 5)."""
    start, length, most, red, blue = (numbers[..., k, None] for k in range(5))
    green = 1 - red - blue
    grey = red * rgb[..., :1] + green * rgb[..., 1:2] + blue * rgb[..., 2:]
    part = np.clip((np.log2(np.maximum(grey, DARK) / MID_GREY) - start) / length, 0, 1)
    return grey, 1 - most * part * part * (3 - 2 * part)


def paler(rgb: Array, numbers: Array) -> Array:
    """Highlights with less colour; numbers (..., 5)."""
    grey, kept = _paled(rgb, numbers)
    return np.asarray(grey + kept * (rgb - grey))


def denser(rgb: Array, numbers: Array) -> Array:
    """The factor of light; numbers (..., 2)."""
    strength, power = numbers[..., :1], numbers[..., 1:]
    largest = np.maximum(rgb.max(axis=-1, keepdims=True), DARK)
    colourful = np.clip(1 - rgb.min(axis=-1, keepdims=True) / largest, 0, 1)
    return np.asarray(1 - strength * colourful**power)
