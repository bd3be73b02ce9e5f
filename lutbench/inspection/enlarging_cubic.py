"""From how many nodes a table was enlarged by cubic interpolation.

Only sizes whose nodes are all kept are tried (17 to 33 or 65). Cubic interpolation between
them then gives all other nodes to within rounding. In a table that was sampled, its error at
bends and corners is much larger.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from lutbench.model.transforms import Array

SPLINE_ENDS = ("not-a-knot", "natural", "flat")
"""The usual end conditions of a cubic spline; "flat" is the mirrored edge of image scaling."""

METHODS = (*SPLINE_ENDS, "catmull-rom", "pchip")
"""Cubic interpolations that are tried."""

FEWEST_NODES = 7
"""Nodes along an edge of the smaller table: in fewer, a spline is hardly more than a polynomial."""

MAX_STEPS = 1.5
"""Steps of the last decimal: rounding of the nodes and of the value between them leaves less."""

SPLINE_ERROR = 5 / 384
"""Of a fourth difference: the error of a spline midway between the nodes of a smooth curve."""

MIN_RATIO = 10.0
"""The least ratio of a spline's usual error to the rounding: else nothing can be said."""

FEWEST_PLACES = 24
"""Places with that ratio: fewer may be chance."""


def residual_of_cubic(lines: Array, old: int, low: Array, high: Array, step: float) -> float | None:
    """The largest residual of the best cubic interpolation; None if none fits to rounding.

    Parameters
    ----------
    lines
        Lines of the larger table through nodes of the smaller one, shape (m, n).
    old
        Nodes along an edge of the smaller table.
    low, high
        The range of the line's channel in the whole table, shape (m, 1): results are clipped.
    step
        One step of the last decimal, signal.
    """
    every = (lines.shape[1] - 1) // (old - 1)
    nodes = lines[:, ::every]
    limit = MAX_STEPS * step
    expected = SPLINE_ERROR * np.abs(np.diff(nodes, n=4, axis=1))
    if np.count_nonzero(expected > MIN_RATIO * limit) < FEWEST_PLACES:
        return None
    for method in METHODS:
        residual = np.abs(np.clip(between(nodes, every, method), low, high) - lines)
        if method == "catmull-rom":  # programs differ in the first and last interval
            residual = residual[:, every:-every]
        if (left := float(residual.max())) <= limit:
            return left
    return None


def between(nodes: Array, every: int, method: str) -> Array:
    """Lines through `nodes`, shape (m, old), with `every` steps from each to the next."""
    slopes = _pchip(nodes) if method == "pchip" else nodes @ _slopes(nodes.shape[1], method).T
    t = np.arange(every) / every
    rise = 3 * t**2 - 2 * t**3
    start, end = t * (1 - t) ** 2, t**2 * (t - 1)
    left, right = nodes[:, :-1, None], nodes[:, 1:, None]
    curve = left + rise * (right - left)
    curve = curve + start * slopes[:, :-1, None] + end * slopes[:, 1:, None]
    return np.concatenate([curve.reshape(len(nodes), -1), nodes[:, -1:]], axis=1)


@cache
def _slopes(old: int, method: str) -> Array:
    """The matrix (old, old) that gives the slopes at nodes, per interval, from their values."""
    central = np.eye(old, k=1) - np.eye(old, k=-1)
    central[0, :2] = central[-1, -2:] = (-2, 2)
    if method == "catmull-rom":
        return central / 2
    system = np.eye(old, k=1) + 4 * np.eye(old) + np.eye(old, k=-1)
    values = 3 * central
    values[0] = values[-1] = system[0] = system[-1] = 0
    if method == "not-a-knot":
        system[0, [0, 2]] = system[-1, [-3, -1]] = (1, -1)
        values[0, :3] = values[-1, -3:] = (-2, 4, -2)
    elif method == "natural":
        system[0, :2], system[-1, -2:] = (2, 1), (1, 2)
        values[0, :2] = values[-1, -2:] = (-3, 3)
    else:
        system[0, 0] = system[-1, -1] = 1
    return np.asarray(np.linalg.solve(system, values))


def _pchip(nodes: Array) -> Array:
    """The slopes of Fritsch and Butland's monotone interpolation, shape of `nodes`."""
    rises = np.diff(nodes, axis=1)
    one, other = rises[:, :-1], rises[:, 1:]
    same = one * other > 0
    slopes = np.zeros_like(nodes)
    slopes[:, 1:-1] = np.where(same, 2 * one * other / np.where(same, one + other, 1), 0)
    for at, first, second in ((0, rises[:, 0], rises[:, 1]), (-1, rises[:, -1], rises[:, -2])):
        end = (3 * first - second) / 2
        end = np.where((first * second < 0) & (np.abs(end) > 3 * np.abs(first)), 3 * first, end)
        slopes[:, at] = np.where(end * first > 0, end, 0)
    return slopes
