"""From how many nodes a table was enlarged, where that was done in straight lines.

Between the nodes of the smaller table every line of the larger one is straight. So lines are
held against the nearest that a smaller table gives: what is left is rounding, where the size
is right, and much of every bend where it is not.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from lutbench.model.transforms import Array

USUAL_SIZES = (5, 7, 8, 9, 11, 13, 16, 17, 21, 25, 26, 32, 33, 49, 51, 64)
"""Nodes along an edge of the tables that are met; others only where they go evenly into it."""

LARGEST = 65
"""Nodes; in larger tables only sizes that go evenly into it are tried, to save time."""

SHARPER = 20.0
"""How many times the bends of the lines are over what the smaller table leaves of them: a
smooth table with few decimals is nearly that of a smaller one too."""

LEAST_BEND = 5e-4
"""Signal: half a 10-bit code; a table that bends less is straight for all that is seen."""

MUCH_SMALLER = 0.8
"""Of the nodes: from hardly fewer nodes (32 to 33) any smooth table might have been enlarged."""

STEPS_LEFT = 2.0
"""Steps of the last decimal: what rounding leaves of a straight line, as a second difference."""

MOST_VALUES = 20_000
"""Values that the decimals are told by."""

WHOLE = 1e-3
"""Of a step: nearer than this a value stands on it, float32 tables of up to 4 decimals too."""

ALIGNED = 5
"""Lines each way that have to run through nodes of the smaller table, to do without the others:
between them tetrahedral interpolation bends too."""

LINES = 12
"""Lines each way that are looked at, where any will do."""


def enlarged_from(planes: Array) -> tuple[int, float] | None:
    """The size from which a table was enlarged by straight interpolation, and what that leaves.

    Parameters
    ----------
    planes
        Shape (3, n, n, n).

    None where no smaller table gives this one, or it is straight throughout. What is left is a
    second difference too, in signal.
    """
    size, straight = planes.shape[1], STEPS_LEFT * _rounding(planes)
    for old in _candidates(size):
        left = bent = 0.0
        for axis in range(1, 4):
            lines = _lines(planes, axis, old)
            apart = lines - lines @ _onto(size, old)
            left = max(left, 2 * float(np.abs(apart).max()))
            bends = np.abs(np.diff(lines, n=2, axis=1)).max(axis=1)
            bent = max(bent, float(np.median(bends)))
        if left <= straight and bent > max(SHARPER * left, LEAST_BEND):
            return old, left
    return None


def _rounding(planes: Array) -> float:
    """The step of the decimals that the values are written with, 4 to 7 of them."""
    some = planes.reshape(-1)[:: max(1, planes.size // MOST_VALUES)]
    for decimals in range(4, 7):
        scaled = some * 10.0**decimals
        if np.abs(scaled - np.rint(scaled)).max() < WHOLE:
            return float(10.0**-decimals)
    return 1e-7  # of float32 as well


def _candidates(size: int) -> list[int]:
    """Sizes to try, the smallest first: a table of 9 nodes is one of 17 too."""
    even = {(size - 1) // step + 1 for step in range(2, size // 2 + 1) if (size - 1) % step == 0}
    usual = {old for old in USUAL_SIZES if old < size} if size <= LARGEST else set()
    return sorted(old for old in even | usual if 3 <= old <= MUCH_SMALLER * size)


def _lines(planes: Array, axis: int, old: int) -> Array:
    """Lines of the table along an axis, shape (m, n)."""
    size = planes.shape[1]
    through = np.arange(size)[(np.arange(size) * (old - 1)) % (size - 1) == 0]
    if len(through) < ALIGNED:
        through = np.unique(np.linspace(0, size - 1, min(size, LINES)).round().astype(int))
    elif len(through) > LINES:
        through = through[:: len(through) // LINES]
    moved = np.moveaxis(planes, axis, -1)[:, through][:, :, through]
    return np.asarray(moved.reshape(-1, size))


@cache
def _onto(size: int, old: int) -> Array:
    """What takes a line of `size` nodes to the nearest that one of `old` nodes gives."""
    at = np.linspace(0, old - 1, size)
    weights = np.maximum(0, 1 - np.abs(at[:, None] - np.arange(old)))
    nearest, _ = np.linalg.qr(weights)
    return np.asarray(nearest @ nearest.T)
