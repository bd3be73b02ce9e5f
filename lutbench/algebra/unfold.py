"""Folds of a table relaxed: colours that run backwards, where they can be set right nearby."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array
from lutbench.tables.cells import channel_planes, tetrahedra, volumes
from lutbench.tables.noise import clipped

Mask = NDArray[np.bool_]

FOLD_DEPTH = 0.5 / CODES_10_BIT
"""Signal: a fold shallower than rounding to 10 bits can make is none."""

MIRRORED = 0.5
"""Share of tetrahedra turned over from which the table is mirrored as a whole."""

ROUNDS = 60
"""Rounds of relaxing; those after the first third draw in the nodes around a stubborn fold."""

PATIENCE = 12
"""Rounds without a gain after which it is given up."""

WORTH = 0.5
"""The part of the folds' depth that has to go: less is not worth moving nodes for."""


@dataclass(frozen=True, eq=False)
class FoldedTetrahedra:
    """The folded tetrahedra in the order of `cells.tetrahedra`; depths in signal.

    `depth` is the sum over all, `deepest` the greatest.
    """

    bad: Mask
    depth: float
    deepest: float

    @property
    def count(self) -> int:
        """How many are folded."""
        return int(self.bad.sum())


def folds_of(table: Array) -> FoldedTetrahedra:
    """The folds of a table that are deeper than half a 10-bit code; clipped cells are none."""
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
    """The table with its folds relaxed; None where that gains too little.

    Greys stay where they are. No value is moved by more than `most`, in signal. The
    folds' depth, summed, falls by half at least, or the table is not touched.
    """
    start = folds_of(table)
    if not start.count or start.count > MIRRORED * len(start.bad):
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
        if not now.count or since >= PATIENCE:
            break
    return best if least <= (1 - WORTH) * start.depth else None


def _grown(mask: Mask) -> Mask:
    from scipy.ndimage import binary_dilation

    return np.asarray(binary_dilation(mask))


def _relaxed(table: Array, mask: Mask) -> Array:
    """Marked nodes halfway to the mean of their neighbours along each axis.

    On the outer faces of the lattice only the axes that lie in the face count, so
    that the surface of the LUT is not drawn inwards; corners stay.
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
