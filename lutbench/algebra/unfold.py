"""Relax the folds of a table: move nodes where colours run backwards, if small moves are enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Mask
from lutbench.tables.cells import channel_planes, tetrahedra, volumes
from lutbench.tables.traces import clipped

FOLD_DEPTH = 0.5 / CODES_10_BIT
"""Signal: shallower folds do not count, since rounding to 10 bits can make them."""

MIRRORED_SHARE = 0.5
"""Share of folded tetrahedra above which the table is mirrored as a whole."""

ROUNDS = 60
"""Rounds of relaxation; after the first third the nodes around a remaining fold are moved too."""

IDLE_ROUNDS = 12
"""Rounds without a gain after which relaxation ends."""

LEAST_GAIN_SHARE = 0.5
"""Share of the folds' depth that must be removed, or no node is moved."""


@dataclass(frozen=True, eq=False)
class FoldedTetrahedra:
    """The folded tetrahedra of a table, in the order of `cells.tetrahedra`.

    `depth` is the sum of all depths, `deepest` the greatest, in signal.
    """

    bad: Mask
    depth: float
    deepest: float

    @property
    def count(self) -> int:
        """How many are folded."""
        return int(self.bad.sum())


def folds_of(table: Array) -> FoldedTetrahedra:
    """The folds of a table, shape (n, n, n, 3), deeper than half a 10-bit code, not clipped."""
    planes = channel_planes(table)
    corner = clipped(planes).any(axis=0).ravel()[tetrahedra(table.shape[0])].any(axis=1)
    found = [
        (determinant, determinant < -FOLD_DEPTH * areas)
        for _, determinant, areas in volumes(planes)
    ]
    volume = np.stack([each for each, _ in found], axis=-1).reshape(-1)
    bad = np.stack([each for _, each in found], axis=-1).reshape(-1) & ~corner
    depths = np.cbrt(-volume[bad])
    return FoldedTetrahedra(bad, float(depths.sum()), float(depths.max(initial=0.0)))


def unfolded(table: Array, most: float) -> Array | None:
    """The table with its folds relaxed; None if that gains too little.

    Greys are not moved, and no value is moved by more than `most`, in signal. The summed
    depth of the folds falls by at least half, or the table is not changed.
    """
    start = folds_of(table)
    if not start.count or start.count > MIRRORED_SHARE * len(start.bad):
        return None
    size = table.shape[0]
    corners = tetrahedra(size)
    grey = np.zeros((size,) * 3, bool)
    index = np.arange(size)
    grey[index, index, index] = True
    best, least, since = table, start.depth, 0
    current, bad = table, start.bad
    for turn in range(ROUNDS):
        touched = np.zeros(size**3, bool)
        touched[corners[bad].ravel()] = True
        mask = touched.reshape(size, size, size)
        if turn > ROUNDS // 3:
            mask = _grown(mask)
        moved = np.clip(_relaxed(current, mask & ~grey) - table, -most, most)
        current = table + moved
        now = folds_of(current)
        bad = now.bad
        since += 1
        if now.depth < least:
            best, least, since = current, now.depth, 0
        if not now.count or since >= IDLE_ROUNDS:
            break
    return best if least <= (1 - LEAST_GAIN_SHARE) * start.depth else None


def _grown(mask: Mask) -> Mask:
    from scipy.ndimage import binary_dilation

    return np.asarray(binary_dilation(mask))


def _relaxed(table: Array, mask: Mask) -> Array:
    """The table with marked nodes moved halfway to the mean of their neighbours.

    On the outer faces of the lattice only neighbours in the face count, so that the surface
    of the LUT is not drawn inwards; corners stay.
    """
    total = np.zeros_like(table)
    count = np.zeros(table.shape[:3])
    for axis in range(3):
        middle = [slice(None)] * 3
        before, after = middle.copy(), middle.copy()
        middle[axis], before[axis], after[axis] = slice(1, -1), slice(None, -2), slice(2, None)
        total[tuple(middle)] += table[tuple(before)] + table[tuple(after)]
        count[tuple(middle)] += 2
    mean = np.divide(total, count[..., None], out=table.copy(), where=count[..., None] > 0)
    result = table.copy()
    result[mask] = 0.5 * (table[mask] + mean[mask])
    return result
