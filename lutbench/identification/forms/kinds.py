"""The kinds of step whose numbers are fitted: a newcomer adds one entry to `KINDS`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from lutbench.identification.lightsteps import (
    WIDER,
    Density,
    HueTurn,
    LumaTint,
    Paling,
    Vibrance,
    denser,
    paler,
    undensed,
    unlivened,
    unturned,
)
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array, Transform

TRIED = 5
"""Displays that are tried in place of free numbers, the nearest: as many as have a curve."""


class Number(NamedTuple):
    """A number of a step: where its fit starts, the least and the most, and a small change."""

    start: float
    low: float
    high: float
    small: float


@dataclass(frozen=True)
class StepKind:
    """A step whose numbers are fitted.

    `moved` is the step on light (s, n, 3) of many sources, with numbers (s, 1, k) each; or, where
    the step is one `after` the tone curve, its inverse on the signal.
    """

    numbers: tuple[Number, ...]
    moved: Callable[[Array, Array], Array]
    made: Callable[[Array], Transform]
    begins: Transform | None = None
    """The step in the fits that the first sources are taken from."""
    after: bool = False
    displays: tuple[tuple[float, ...], ...] = ()
    """What the last numbers are on displays that exist."""

    @cached_property
    def table(self) -> Array:
        """Rows of starts, least, most and small changes, (4, k)."""
        return np.array(self.numbers).T

    def on_displays(self, found: Array) -> list[StepKind]:
        """The kind on each of the nearest displays, from the other numbers of a fit."""
        if not self.displays:
            return []
        tails = np.array(self.displays)
        count = tails.shape[1]
        away = np.linalg.norm((tails - found[-count:]) / self.table[3, -count:], axis=1)
        begun = [n._replace(start=float(v)) for n, v in zip(self.numbers, found, strict=True)]
        nearest = away.argsort()[:TRIED]
        return [replace(self, numbers=(*begun[:-count], *map(_held, tails[k]))) for k in nearest]


def _held(value: float) -> Number:
    """A number that does not move."""
    return Number(value, value, value, 1.0)


PRESET = GamutCompression()
"""The reference gamut compression."""

FREE = {GamutCompression: 7, Paling: 5, Density: 2, Vibrance: 5, HueTurn: 7, LumaTint: 0}
"""How many numbers of each step are free; greys show a tint, as they show the tone curve."""


def free_numbers(step: Transform | None) -> int:
    """How many numbers of a step were fitted; a step with known numbers counts as one."""
    return 1 if step == PRESET else 0 if step is None else FREE[type(step)]


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


def _compression(v: Array) -> Transform:
    return GamutCompression(_three(v), _three(v[3:]), float(v[6]))


def _three(numbers: Array) -> tuple[float, float, float]:
    return float(numbers[0]), float(numbers[1]), float(numbers[2])


DISPLAY = (Number(2.4, 1.8, 2.8, 0.1), Number(0.0, 0.0, 0.12, 0.02), Number(0.0, 0.0, 2.0, 0.2))
"""The power of its curve, the offset in it and its primaries: see `lightsteps`."""

POWERS = ((2.2, 0.0), (2.4, 0.0), (2.6, 0.0), (2.4, 0.055), (1 / 0.45, 0.099))
"""Powers and offsets: plain powers, IEC 61966-2-1 and Recommendation ITU-R BT.709."""

DISPLAYS = tuple((*each, float(wide)) for each in POWERS for wide in range(len(WIDER)))
"""Those of displays that exist."""

DENSER = StepKind(
    (Number(0.2, -0.5, 0.9, 0.05), Number(1.5, 0.3, 4.0, 0.1)),
    lambda rgb, v: rgb * denser(rgb, v),
    lambda v: Density(float(v[0]), float(v[1])),
)
"""Denser colours in light."""

KINDS = (
    StepKind(
        (
            *(Number(each, 0.3, 0.97, 0.05) for each in PRESET.thresholds),
            *(Number(each, 1.01, 3.0, 0.05) for each in PRESET.limits),
            Number(PRESET.power, 1.0, 6.0, 0.05),
        ),
        _compressed,
        _compression,
        PRESET,
    ),
    StepKind(
        (
            *(Number(1.0, -4.0, 6.0, 0.2), Number(3.5, 0.5, 10.0, 0.2)),
            *(Number(0.7, 0.0, 1.0, 0.05), Number(0.2126, 0.0, 0.6, 0.01)),
            Number(0.0722, 0.0, 0.4, 0.01),
        ),
        paler,
        lambda v: Paling(*map(float, v)),
        displays=tuple(each.luminance_weights[::2] for each in WIDER),
    ),
    DENSER,
    replace(DENSER, moved=undensed, after=True),
    StepKind(
        (Number(0.05, -0.6, 1.5, 0.05), Number(0.1, 0.02, 0.6, 0.02), *DISPLAY),
        unlivened,
        lambda v: Vibrance(float(v[0]), float(v[1]), _three(v[2:])),
        after=True,
        displays=DISPLAYS,
    ),
    StepKind(
        (*(Number(0.0, -0.4, 0.4, 0.02),) * 4, *DISPLAY),
        unturned,
        lambda v: HueTurn((float(v[0]), *_three(v[1:])), _three(v[4:])),
        after=True,
        displays=DISPLAYS,
    ),
)
