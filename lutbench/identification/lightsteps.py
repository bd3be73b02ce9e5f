"""Steps with numbers of their own: on light before the tone curve, or on the signal after it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from lutbench.identification.common import DARK, DENSE
from lutbench.model.compression import GamutCompression
from lutbench.model.curves.base import MID_GREY
from lutbench.model.gamut_map import LAB_FROM_ROOTS, lms_matrix, rgb_from_lms
from lutbench.model.gamuts import BT709
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.interpolation import interp_uniform
from lutbench.model.transforms import Array, Transform

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

    kind: ClassVar[str] = "paling"

    def _changed(self, rgb: Array) -> Array:
        return _paler(rgb, self._numbers)

    def _undone(self, rgb: Array) -> Array:
        grey, kept = _paled(rgb, self._numbers)
        return np.asarray(grey + (rgb - grey) / np.maximum(kept, DARK))

    @property
    def _numbers(self) -> Array:
        return np.array((self.start, self.length, self.most, self.red, self.blue))

    def __str__(self) -> str:
        return (
            f"highlights that lose up to {100 * self.most:.0f} % of their colour, from "
            f"{self.start:+.1f} stops over {self.length:.1f} stops".replace("-", "−")
        )


@dataclass(frozen=True)
class Density(_Step):
    """Colours that are darker the more colourful they are: light times 1 − strength·c^power, c the
    share by which the least channel is below the largest. Common practice of film-like grading.
    """

    strength: float
    power: float

    kind: ClassVar[str] = "density"

    def _changed(self, rgb: Array) -> Array:
        return np.asarray(rgb * _denser(rgb, np.array((self.strength, self.power))))

    def _undone(self, rgb: Array) -> Array:
        return _undensed(rgb, np.array((self.strength, self.power)))

    def __str__(self) -> str:
        return f"colourful colours that are darker, by up to {100 * self.strength:.0f} %"


@dataclass(frozen=True)
class Vibrance(_Step):
    """Chroma of Oklab times 1 + amount·exp(−chroma / reach), in the light of a display with a power
    of `gamma` and the primaries of BT.709. Common practice: pale colours gain more colour.
    """

    amount: float
    reach: float
    gamma: float

    kind: ClassVar[str] = "vibrance"

    def _changed(self, rgb: Array) -> Array:
        lab = _to_lab(rgb, np.array(self.gamma))
        chroma = np.hypot(lab[..., 1:2], lab[..., 2:])
        lab[..., 1:] *= 1 + self.amount * np.exp(-chroma / self.reach)
        return _from_lab(lab, np.array(self.gamma))

    def _undone(self, rgb: Array) -> Array:
        return _unlivened(rgb, np.array((self.amount, self.reach, self.gamma)))

    def __str__(self) -> str:
        gains = "more" if self.amount > 0 else "less"
        return f"pale colours that have up to {100 * abs(self.amount):.0f} % {gains} colour"


@dataclass(frozen=True)
class HueTurn(_Step):
    """Hues of Oklab turned by two waves of the hue, in light as `Vibrance` has it."""

    waves: tuple[float, float, float, float]
    """Radians: cosine and sine of the hue, and of twice the hue."""
    gamma: float

    kind: ClassVar[str] = "hue_turn"

    def _changed(self, rgb: Array) -> Array:
        numbers = np.array((*self.waves, self.gamma))
        lab = _to_lab(rgb, numbers[4])
        hue = np.arctan2(lab[..., 2], lab[..., 1])
        return _from_lab(_at_hue(lab, hue + _turn(hue, numbers)), numbers[4])

    def _undone(self, rgb: Array) -> Array:
        return _unturned(rgb, np.array((*self.waves, self.gamma)))

    def __str__(self) -> str:
        hue = np.linspace(-np.pi, np.pi, 361)
        most = np.rad2deg(np.abs(_turn(hue, np.array(self.waves))).max())
        return f"hues that turn by up to {most:.0f}°"


@dataclass(frozen=True)
class LumaTint(_Step):
    """A colour without luma that is added by luma, as the greys show it: split toning.

    `points` are luma, and what R, G and B gain there. Luma stays, so the step can be undone.
    """

    points: tuple[tuple[float, float, float, float], ...]

    kind: ClassVar[str] = "luma_tint"

    def _changed(self, rgb: Array) -> Array:
        return np.asarray(rgb + self._tint(rgb))

    def _undone(self, rgb: Array) -> Array:
        return np.asarray(rgb - self._tint(rgb))

    def _tint(self, rgb: Array) -> Array:
        luma, tint = self._dense
        at = np.clip(rgb @ np.array(CDL_WEIGHTS), luma[0], luma[-1])
        return np.stack([interp_uniform(at, luma[0], luma[-1], each) for each in tint], axis=-1)

    @cached_property
    def _dense(self) -> tuple[Array, Array]:
        from scipy.interpolate import CubicSpline

        points = np.array(self.points)
        luma = np.linspace(points[0, 0], points[-1, 0], DENSE)
        return luma, np.ascontiguousarray(CubicSpline(points[:, 0], points[:, 1:])(luma).T)

    def __str__(self) -> str:
        most = 100 * np.abs(np.array(self.points)[:, 1:]).max()
        return f"a tint by luma of up to {most:.1f} % of the signal (split toning)"


@dataclass(frozen=True)
class _Inverse(_Step):
    """Of a step."""

    step: _Step

    def _changed(self, rgb: Array) -> Array:
        return self.step._undone(rgb)

    def inverse(self) -> Transform:
        return self.step


def _undensed(rgb: Array, numbers: Array) -> Array:
    return np.asarray(rgb / _denser(rgb, numbers))


def _to_lab(rgb: Array, gamma: Array) -> Array:
    light = np.maximum(rgb, 0.0) ** gamma[..., None]
    return np.asarray(np.cbrt(light @ lms_matrix(BT709).T) @ LAB_FROM_ROOTS.T)


def _from_lab(lab: Array, gamma: Array) -> Array:
    roots = lab @ np.linalg.inv(LAB_FROM_ROOTS).T
    light = roots**3 @ rgb_from_lms(BT709).T
    return np.asarray(np.maximum(light, 0.0) ** (1 / gamma[..., None]))


def _at_hue(lab: Array, hue: Array) -> Array:
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    return np.stack([lab[..., 0], chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def _turn(hue: Array, numbers: Array) -> Array:
    a, b, c, d = (numbers[..., k] for k in range(4))
    turn = a * np.cos(hue) + b * np.sin(hue) + c * np.cos(2 * hue) + d * np.sin(2 * hue)
    return np.asarray(turn)


def _unturned(rgb: Array, numbers: Array) -> Array:
    """Before hues were turned: Newton's method."""
    lab = _to_lab(rgb, numbers[..., 4])
    after = np.arctan2(lab[..., 2], lab[..., 1])
    a, b, c, d = (numbers[..., k] for k in range(4))
    hue = after - _turn(after, numbers)
    for _ in range(TURNS):
        slope = 1 + b * np.cos(hue) - a * np.sin(hue)
        slope += 2 * d * np.cos(2 * hue) - 2 * c * np.sin(2 * hue)
        hue = hue - (hue + _turn(hue, numbers) - after) / np.maximum(slope, FLATTEST)
    return _from_lab(_at_hue(lab, hue), numbers[..., 4])


def _unlivened(rgb: Array, numbers: Array) -> Array:
    """Before chroma was raised: Newton's method."""
    amount, reach, gamma = (numbers[..., k] for k in range(3))
    lab = _to_lab(rgb, gamma)
    after = np.hypot(lab[..., 1], lab[..., 2])
    chroma = after / (1 + amount * np.exp(-after / reach))
    for _ in range(TURNS):
        part = amount * np.exp(-chroma / reach)
        slope = np.maximum(1 + part * (1 - chroma / reach), FLATTEST)
        chroma = np.maximum(chroma - (chroma * (1 + part) - after) / slope, 0.0)
    share = chroma / np.where(after > 0, after, 1.0)
    lab[..., 1:] *= share[..., None]
    return _from_lab(lab, gamma)


def _paled(rgb: Array, numbers: Array) -> tuple[Array, Array]:
    """Luminance, and the share of colour that is kept; numbers (..., 5)."""
    start, length, most, red, blue = (numbers[..., k, None] for k in range(5))
    green = 1 - red - blue
    grey = red * rgb[..., :1] + green * rgb[..., 1:2] + blue * rgb[..., 2:]
    part = np.clip((np.log2(np.maximum(grey, DARK) / MID_GREY) - start) / length, 0, 1)
    return grey, 1 - most * part * part * (3 - 2 * part)


def _paler(rgb: Array, numbers: Array) -> Array:
    grey, kept = _paled(rgb, numbers)
    return np.asarray(grey + kept * (rgb - grey))


def _denser(rgb: Array, numbers: Array) -> Array:
    """The factor of light; numbers (..., 2)."""
    strength, power = numbers[..., :1], numbers[..., 1:]
    largest = np.maximum(rgb.max(axis=-1, keepdims=True), DARK)
    colourful = np.clip(1 - rgb.min(axis=-1, keepdims=True) / largest, 0, 1)
    return np.asarray(1 - strength * colourful**power)


def _compressed(rgb: Array, numbers: Array) -> Array:
    """As `GamutCompression`, with numbers (..., 7)."""
    threshold, limit, power = numbers[..., :3], numbers[..., 3:6], numbers[..., 6:]
    scale = (limit - threshold) / (((1 - threshold) / (limit - threshold)) ** -power - 1) ** (
        1 / power
    )
    peak = rgb.max(axis=-1, keepdims=True)
    size = np.abs(peak)
    distance = (peak - rgb) / np.where(size == 0, 1.0, size)
    over = np.maximum(distance - threshold, 0) / scale
    inside = threshold + scale * over / (1 + over**power) ** (1 / power)
    return np.where(distance > threshold, peak - inside * size, rgb)


@dataclass(frozen=True)
class StepKind:
    """A step whose numbers are fitted: where they start, least and most, and a small change.

    `moved` is the step on light (s, n, 3) of many sources, with numbers (s, 1, k) each; or, where
    the step is one `after` the tone curve, its inverse on the signal.
    """

    start: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    small: tuple[float, ...]
    moved: Callable[[Array, Array], Array]
    made: Callable[[Array], Transform]
    begins: Transform | None = None
    """The step in the fits that the first sources are taken from."""
    after: bool = False


AFTER = (Density, Vibrance, HueTurn, LumaTint)
"""Those that may come after the tone curve."""

PRESET = GamutCompression()
"""The reference gamut compression."""

FREE = {GamutCompression: 7, Paling: 5, Density: 2, Vibrance: 3, HueTurn: 5, LumaTint: 0}
"""How many numbers of each step are free; greys show a tint, as they show the tone curve."""


def free_numbers(step: Transform | None) -> int:
    """How many numbers of a step were fitted; a step with known numbers counts as one."""
    return 1 if step == PRESET else 0 if step is None else FREE[type(step)]


def _compression(numbers: Array) -> Transform:
    t, limits = (tuple(map(float, numbers[k : k + 3])) for k in (0, 3))
    return GamutCompression(t, limits, float(numbers[6]))  # type: ignore[arg-type]


KINDS = (
    StepKind(
        (*PRESET.thresholds, *PRESET.limits, PRESET.power),
        (0.3,) * 3 + (1.01,) * 3 + (1.0,),
        (0.97,) * 3 + (3.0,) * 3 + (6.0,),
        (0.05,) * 7,
        _compressed,
        _compression,
        PRESET,
    ),
    StepKind(
        (1.0, 3.5, 0.7, 0.2126, 0.0722),
        (-4.0, 0.5, 0.0, 0.0, 0.0),
        (6.0, 10.0, 1.0, 0.6, 0.4),
        (0.2, 0.2, 0.05, 0.01, 0.01),
        _paler,
        lambda v: Paling(*map(float, v)),
    ),
    StepKind(
        (0.2, 1.5),
        (-0.5, 0.3),
        (0.9, 4.0),
        (0.05, 0.1),
        lambda rgb, v: rgb * _denser(rgb, v),
        lambda v: Density(*map(float, v)),
    ),
    StepKind(
        (0.2, 1.5),
        (-0.5, 0.3),
        (0.9, 4.0),
        (0.05, 0.1),
        _undensed,
        lambda v: Density(*map(float, v)),
        after=True,
    ),
    StepKind(
        (0.05, 0.1, 2.4),
        (-0.6, 0.02, 1.8),
        (1.5, 0.6, 2.8),
        (0.05, 0.02, 0.1),
        _unlivened,
        lambda v: Vibrance(*map(float, v)),
        after=True,
    ),
    StepKind(
        (0.0, 0.0, 0.0, 0.0, 2.4),
        (-0.4,) * 4 + (1.8,),
        (0.4,) * 4 + (2.8,),
        (0.02,) * 4 + (0.1,),
        _unturned,
        lambda v: HueTurn((float(v[0]), float(v[1]), float(v[2]), float(v[3])), float(v[4])),
        after=True,
    ),
)
