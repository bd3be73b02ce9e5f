"""Whether a table was smoothed after it was sampled, as its corners and its faces show.

Where a transform cuts off, its table has a corner between two nodes: the last node before the
plateau stands anywhere between it and the step before. Smoothing over neighbouring nodes
rounds every such corner alike, so that the last two nodes are always a small part of a step
off the plateau. A tone curve that eases into its white does that as well, but at a few places
only, the same on line after line.

At a face of the table smoothing needs values from outside. It usually repeats or mirrors the
nodes inside, and so shortens the first step from the face: by the same part on every line and
at every face, whatever the curve. A transform does that at one face at most, where its curve
has a toe or a shoulder.
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


STRAIGHT = 0.03
"""Of a step: the third to fifth steps of a line change by so little more or less, that the first
can be predicted from them."""

TURN = 0.15
"""Of a step: the most that the fourth step differs from the third, for the same reason."""

ALIKE = 0.25
"""Of the shortening: the most that faces differ from each other in it; only smoothing shortens
faces at dark and at bright inputs by the same part."""

SPREAD = 0.5
"""Of the shortening: the widest range of it, from the 10th to the 90th percentile of the lines
of a face."""

NO_STEP_LEFT = 0.7
"""Of the first step: cut off rather than smoothed; a mirrored Gaussian of 1.5 nodes takes 0.65."""


def faces_shortened(planes: Array) -> float | None:
    """By which part of its length the first step from the faces of a table is too short.

    The median over the faces of a table, shape (3, n, n, n). None unless a face at dark and
    one at bright inputs can be judged, and all that can be judged agree.
    """
    if min(planes.shape[1:]) < 8:
        return None
    dark, bright = (
        [each for axis in range(3) if (each := _shortened(planes, axis, end)) is not None]
        for end in (1, -1)
    )
    if not dark or not bright:
        return None
    found = np.array(dark + bright)
    value = float(np.median(found[:, 0]))
    if np.abs(found[:, 0] - value).max() > ALIKE * value:
        return None
    if np.median(found[:, 1]) > SPREAD * value or value > NO_STEP_LEFT:
        return None
    return value


def _shortened(planes: Array, axis: int, direction: int) -> tuple[float, float] | None:
    """The median shortening of the first step at a face, and its range over the lines."""
    parts = []
    for plane in planes:
        lines = np.moveaxis(plane, axis, -1)[..., ::direction][..., :6]
        steps = np.diff(lines, axis=-1)
        third, fourth, fifth = (steps[..., k] for k in (2, 3, 4))
        length = np.abs(third)
        fit = (length > STEEP) & (np.abs(third - fourth) < TURN * length)
        fit &= np.abs(third - 2 * fourth + fifth) < STRAIGHT * length
        expected = 3 * third[fit] - 2 * fourth[fit]
        parts.append(1 - steps[fit][:, 0] / expected)
    part = np.concatenate(parts)
    if len(part) < FEWEST:
        return None
    low, middle, high = np.percentile(part, [10, 50, 90])
    return float(middle), float(high - low)


def _along(off: NDArray[np.float64]) -> Array:
    """The corners where lines, along the last axis, reach the plateau."""
    flat = off < ON_PLATEAU
    reached = flat[..., 3:-1] & flat[..., 4:] & ~flat[..., 2:-2]
    third, second, last = (off[..., k : k - 4][reached] for k in (0, 1, 2))
    step = third - second
    steep = (step > STEEP) & (second > last)
    return np.stack([last[steep], (second - last)[steep]], axis=-1) / step[steep, None]
