"""A table as it was before a Gaussian smoothed it over its nodes.

A filter that is narrow against the distance of nodes can be undone. With the right width every
corner where the table cuts off is sharp again, so that more nodes lie on a plateau than with any
other; with a wider one, values swing beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.model.transforms import Array
from lutbench.tables.smoothing import Beyond, corner_left, gaussian

ROUNDED_STEP_SHARE = 0.2
"""Of a step: what is left of corners that were smoothed; without smoothing it is 0.4 to 1."""

TRIED_NODES = np.arange(0.3, 1.021, 0.02)
"""Widths: a wider Gaussian cannot be undone with six decimals."""

FINER_NODES = (0.01, 0.005, 0.0025, 0.00125, 0.0006)
"""Nodes to either side of the best width so far at which it is looked for."""

FLAT_SIGNAL = 1e-3
"""Signal: a 10-bit code within which a value lies on a plateau."""

MORE_SHARE = 0.01
"""The share of the nodes by which more must lie on plateaus once the filter is undone."""

NOISE_TIMES = 4.0
"""Times the noise within which a value on a plateau may lie: one in ten thousand lies farther."""


@dataclass(frozen=True)
class Unsmoothed:
    """A table (n, n, n, 3) before smoothing, the width in nodes of the Gaussian, and by how much
    undoing it raises the error of rounding."""

    table: Array
    width: float
    gain: float


def unsmoothed(table: Array, step: float) -> Unsmoothed | None:
    """The table (n, n, n, 3) before it was smoothed; None where it shows no such smoothing.

    `step` is that of its rounding, as signal.
    """
    left = corner_left(np.moveaxis(table, -1, 0))
    if left is None or left >= ROUNDED_STEP_SHARE:
        return None
    flat = [_flat(table[..., c], table[..., c]) for c in range(3)]
    plane = np.ascontiguousarray(table[..., int(np.argmin(np.abs(np.array(flat) - 0.5)))])
    plain = _flat(plane, plane)
    share, width, beyond = max(
        (_width(plane, "nearest", step), _width(plane, "mirror", step)), key=lambda each: each[0]
    )
    if share < plain + MORE_SHARE:
        return None
    back = _inverse(len(table), width, beyond, step)
    gain = float(np.sqrt((back**2).sum(axis=1).mean()) ** 3)
    low, high = (end(axis=(0, 1, 2)) for end in (table.min, table.max))
    found = _filtered(table, back)
    near = NOISE_TIMES * gain * step
    found = np.where(found < low + near, low, np.where(found > high - near, high, found))
    return Unsmoothed(found, width, gain)


def _width(plane: Array, beyond: Beyond, step: float) -> tuple[float, float, Beyond]:
    """The share of nodes on plateaus with the best width, and that width."""

    def share(width: float) -> float:
        return _flat(_filtered(plane, _inverse(len(plane), width, beyond, step)), plane)

    best = max((share(float(width)), float(width)) for width in TRIED_NODES)
    for move in FINER_NODES:
        best = max(best, *((share(best[1] + to), best[1] + to) for to in (-move, move)))
    return *best, beyond


def _flat(values: Array, smooth: Array) -> float:
    """The share of values on the plateaus of a channel, which smoothing leaves."""
    ends = (np.abs(values - end) < FLAT_SIGNAL for end in (smooth.min(), smooth.max()))
    return float(np.logical_or(*ends).mean())


def _filtered(table: Array, matrix: Array) -> Array:
    """A table with a matrix along each edge."""
    for axis in range(3):
        table = np.moveaxis(np.tensordot(matrix, table, (1, axis)), 0, axis)
    return table


def _inverse(size: int, width: float, beyond: Beyond, step: float) -> Array:
    """What undoes a Gaussian along a line, as far as rounding allows."""
    matrix = gaussian(size, width, beyond)
    return np.asarray(np.linalg.solve(matrix.T @ matrix + step**2 * np.eye(size), matrix.T), float)
