"""Whether two pictures show the same thing, pixel by pixel, in whatever colours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Array

LEAST_CORRELATION = 0.4
"""Least correlation of edges: a graded picture has more than 0.55 with its original, a different
picture less than 0.1, one that is scaled by 2 % less than 0.4."""

TILES = 4
"""Parts along a side of the picture, each compared separately, to find local shifts."""

_MOST_PX = 1600
"""Pixels along the longer side at which pictures are compared: it keeps edges and saves time."""


@dataclass(frozen=True)
class Registration:
    """How well two pictures match, pixel by pixel."""

    agreement: float
    """The correlation of their edges without a shift, −1 to 1."""


def check_registration(before: NDArray[Any], after: NDArray[Any], where: str = "") -> Registration:
    """Refuse two pictures that are not the same picture, pixel by pixel.

    Their edges are compared: gradients of luma relative to those around them, so that tone
    and colour hardly matter. The pictures have shape (height, width, 3).

    Raises LutbenchError when sizes differ, one is shifted, scaled or mirrored, or it is another
    picture.
    """
    if before.shape != after.shape:
        sizes = [f"{each.shape[1]}×{each.shape[0]}" for each in (before, after)]
        raise LutbenchError(
            f"the pictures are of {sizes[0]} and {sizes[1]} pixels",
            where=where,
            accepted="two of the same size",
        )
    if min(before.shape[:2]) < 64:
        raise LutbenchError(
            "the pictures are under 64 pixels wide or high", where=where, accepted="larger ones"
        )
    first, second = _edges(before), _edges(after)
    for name, edges in (("first", first), ("second", second)):
        if not edges.any():
            raise LutbenchError(f"the {name} picture has no detail", where=where)
    accepted = "the same still before and after, pixel by pixel"
    here, peak, offset = _correlation(first, second)
    if offset != (0, 0) and peak > max(here + 0.01, LEAST_CORRELATION):
        raise LutbenchError(
            f"the second picture is shifted by {offset[1]:+d} pixels across and"
            f" {offset[0]:+d} down",
            where=where,
            accepted=accepted,
        )
    if here < LEAST_CORRELATION:
        for turned, word in (
            (second[:, ::-1], "mirrored left to right"),
            (second[::-1], "mirrored top to bottom"),
            (second[::-1, ::-1], "upside down"),
        ):
            if _correlation(first, turned)[0] > LEAST_CORRELATION:
                raise LutbenchError(f"the second picture is {word}", where=where, accepted=accepted)
        raise LutbenchError(
            f"the two are not the same picture, or one is scaled (their edges correlate at"
            f" {here:.2f}; {LEAST_CORRELATION:g} or more is needed)",
            where=where,
            accepted=accepted,
        )
    _check_tiles(first, second, here, accepted, where)
    return Registration(here)


def _check_tiles(first: Array, second: Array, here: float, accepted: str, where: str) -> None:
    """Refuse a scaled or distorted picture, which matches in one part only.

    Raises LutbenchError when more than a third of the parts are shifted.
    """
    moved, looked = 0, 0
    height, width = first.shape
    for row in range(TILES):
        for column in range(TILES):
            part = (
                slice(row * height // TILES, (row + 1) * height // TILES),
                slice(column * width // TILES, (column + 1) * width // TILES),
            )
            own, other = first[part], second[part]
            if own.std() < 0.3 * first.std() or other.std() < 0.3 * second.std():
                continue
            local, peak, offset = _correlation(own, other)
            if peak < LEAST_CORRELATION:
                continue
            looked += 1
            moved += offset != (0, 0) and peak > local + 0.01
    if looked >= 4 and moved > looked / 3:
        raise LutbenchError(
            f"the second picture is scaled or distorted: {moved} of {looked} parts are shifted",
            where=where,
            accepted=accepted,
        )


def _edges(picture: NDArray[Any]) -> Array:
    """Gradients of luma over the mean of those around them; large pictures are made smaller."""
    from scipy.ndimage import gaussian_filter, uniform_filter

    luma = np.nan_to_num(picture @ np.array([0.25, 0.6, 0.15]))
    step = -(-max(luma.shape) // _MOST_PX)
    if step > 1:
        # In means of blocks the edges still show a shift of one pixel.
        height, width = (side // step * step for side in luma.shape)
        blocks = luma[:height, :width].reshape(height // step, step, width // step, step)
        luma = blocks.mean(axis=(1, 3))
    luma = gaussian_filter(luma, 1.0)
    down, across = np.gradient(luma)
    strength = np.hypot(down, across)
    around = uniform_filter(strength, 31) + 0.25 * strength.mean() + 1e-6
    # The edges of a flat picture are nothing but rounding.
    if strength.max() < 1e-4:
        return np.zeros_like(strength)
    return np.asarray(np.minimum(strength / around, 4.0))


def _correlation(first: Array, second: Array) -> tuple[float, float, tuple[int, int]]:
    """The correlation without a shift, the largest at any shift, and that shift (down, across)."""
    from scipy import fft

    first, second = first - first.mean(), second - second.mean()
    scale = np.sqrt((first**2).sum() * (second**2).sum())
    if scale <= 0:
        return 0.0, 0.0, (0, 0)
    shape = [fft.next_fast_len(side, real=True) for side in first.shape]
    spectrum = fft.rfft2(first, s=shape).conj() * fft.rfft2(second, s=shape)
    surface = fft.irfft2(spectrum, s=shape) / scale
    peak = np.unravel_index(int(surface.argmax()), surface.shape)
    down, across = (int(i) if i <= n // 2 else int(i) - n for i, n in zip(peak, shape, strict=True))
    return float(surface[0, 0]), float(surface[peak]), (down, across)
