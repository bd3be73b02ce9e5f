"""Whether a table was smoothed after it was sampled, told by its corners at what is cut off.

Where a transform cuts off, its table has a corner between two nodes: the last node before the
plateau stands anywhere between it and the step before. Smoothing over neighbouring nodes
rounds every such corner alike, so that the last two nodes are always a small part of a step
off the plateau. A tone curve that eases into its white does that as well, but at a few places
only, the same on line after line.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Array

ON_PLATEAU = 1e-6
"""Signal: nearer than this to the end of its channel a value is on the plateau."""

STEEP = 2e-3
"""Signal: two 10-bit codes; a corner of a lesser step is too weak to be looked at."""

LAST = 0.05
"""Of a step: the most that the last node before the plateau is off it in nine corners of ten,
after a Gaussian of 0.4 nodes or more. Corners that were not smoothed have up to 0.9."""

FEWEST = 24
"""Corners that differ: fewer may be one tone curve, met on every line."""

LARGEST = 33
"""Lines beside each other that are looked at along an edge of the table."""


def corner_left(planes: Array) -> float | None:
    """What is left of corners: how far the last node but one is off the last, in steps.

    The median over the corners of a table, shape (3, n, n, n); None where corners are too
    few, or not rounded alike. Corners that were not smoothed have 0.7 or so, and a curve
    that eases out quadratically 0.4.
    """
    if min(planes.shape[1:]) < 6:
        return None
    last, following = np.concatenate(list(_corners(planes))).T
    if len(np.unique(np.round(following, 4))) < FEWEST or np.percentile(last, 90) >= LAST:
        return None
    return float(np.median(following))


def _corners(planes: Array) -> Iterator[Array]:
    """How far the last two nodes before a plateau are off, in the step before: (m, 2) each."""
    for plane in planes:
        for off in (plane - plane.min(), plane.max() - plane):
            for axis in range(3):
                lines = np.moveaxis(off, axis, -1)
                skip = max(1, len(lines) // LARGEST)
                lines = lines[::skip, ::skip]
                yield _along(lines)
                yield _along(lines[..., ::-1])


def _along(off: NDArray[np.float64]) -> Array:
    """The corners where lines, along the last axis, reach the plateau."""
    flat = off < ON_PLATEAU
    reached = flat[..., 3:-1] & flat[..., 4:] & ~flat[..., 2:-2]
    third, second, last = (off[..., k : k - 4][reached] for k in (0, 1, 2))
    step = third - second
    steep = (step > STEEP) & (second > last)
    return np.stack([last[steep], (second - last)[steep]], axis=-1) / step[steep, None]
