"""Steps on light between the first matrix and the tone curve, with numbers of their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array, Transform

GREY = 0.18
"""Light of mid grey, from which stops count."""

DARKEST = 1e-6
"""Light below which nothing changes its share."""


@dataclass(frozen=True)
class Paling(Transform):
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

    def _apply(self, rgb: Array) -> Array:
        grey, kept = _paled(rgb, np.array(self.numbers))
        return np.asarray(grey + kept * (rgb - grey))

    @property
    def numbers(self) -> tuple[float, ...]:
        """All of them."""
        return self.start, self.length, self.most, self.red, self.blue

    def inverse(self) -> Transform:
        return _Inverse(self)

    def __str__(self) -> str:
        return (
            f"highlights that lose up to {100 * self.most:.0f} % of their colour, from "
            f"{self.start:+.1f} stops over {self.length:.1f} stops".replace("-", "−")
        )


@dataclass(frozen=True)
class Density(Transform):
    """Colours that are darker the more colourful they are: light times 1 − strength·c^power, c the
    share by which the least channel is below the largest. Common practice of film-like grading.
    """

    strength: float
    power: float

    kind: ClassVar[str] = "density"

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(rgb * _denser(rgb, np.array((self.strength, self.power))))

    def inverse(self) -> Transform:
        return _Inverse(self)

    def __str__(self) -> str:
        return f"colourful colours that are darker, by up to {100 * self.strength:.0f} %"


@dataclass(frozen=True)
class _Inverse(Transform):
    """Of a step that changes neither the luminance nor the colour that its share hangs on."""

    step: Paling | Density

    def _apply(self, rgb: Array) -> Array:
        if isinstance(self.step, Density):
            return np.asarray(rgb / _denser(rgb, np.array((self.step.strength, self.step.power))))
        grey, kept = _paled(rgb, np.array(self.step.numbers))
        return np.asarray(grey + (rgb - grey) / np.maximum(kept, DARKEST))


def _paled(rgb: Array, numbers: Array) -> tuple[Array, Array]:
    """Luminance, and the share of colour that is kept; numbers (..., 5)."""
    start, length, most, red, blue = (numbers[..., k, None] for k in range(5))
    green = 1 - red - blue
    grey = red * rgb[..., :1] + green * rgb[..., 1:2] + blue * rgb[..., 2:]
    part = np.clip((np.log2(np.maximum(grey, DARKEST) / GREY) - start) / length, 0, 1)
    return grey, 1 - most * part * part * (3 - 2 * part)


def _denser(rgb: Array, numbers: Array) -> Array:
    """The factor of light; numbers (..., 2)."""
    strength, power = numbers[..., :1], numbers[..., 1:]
    largest = np.maximum(rgb.max(axis=-1, keepdims=True), DARKEST)
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

    `moved` is the step on light (s, n, 3) of many sources, with numbers (s, 1, k) each.
    """

    start: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    small: tuple[float, ...]
    moved: Callable[[Array, Array], Array]
    made: Callable[[Array], Transform]
    begins: Transform | None
    """The step in the fits that the first sources are taken from."""


PRESET = GamutCompression()
"""The reference gamut compression."""


def _compression(numbers: Array) -> Transform:
    t, limits = (tuple(map(float, numbers[k : k + 3])) for k in (0, 3))
    return GamutCompression(t, limits, float(numbers[6]))  # type: ignore[arg-type]


def _paling_of(rgb: Array, numbers: Array) -> Array:
    grey, kept = _paled(rgb, numbers)
    return np.asarray(grey + kept * (rgb - grey))


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
        _paling_of,
        lambda v: Paling(*map(float, v)),
        None,
    ),
    StepKind(
        (0.2, 1.5),
        (-0.5, 0.3),
        (0.9, 4.0),
        (0.05, 0.1),
        lambda rgb, v: rgb * _denser(rgb, v),
        lambda v: Density(*map(float, v)),
        None,
    ),
)
