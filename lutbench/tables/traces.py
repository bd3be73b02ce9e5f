"""What the values of a table show of how it was made: its noise, and whether it was enlarged.

Noise is the scatter of the values around a smooth table.

A table may have been enlarged from fewer nodes, by linear or by cubic interpolation. Between the
nodes of the smaller table every line of the larger one is straight. So each line is compared with
the nearest one that a smaller table gives. If the size is right, the residual is rounding; if not,
it is a large part of every bend. For cubic interpolation only sizes whose nodes are all kept are
tried (17 to 33 or 65): between these nodes it gives all others to within rounding. In a table that
was sampled, its error at bends and corners is much larger.
"""

from __future__ import annotations

from functools import cache
from math import comb
from typing import Any

import numpy as np

from lutbench.model.transforms import Array, Mask

CLIPPED_SIGNAL = 1e-5
"""Signal: a value this near to the lowest or highest of its channel counts as clipped. It is a
hundredth of a 10-bit code, more than the rounding of a six-decimal file."""

NOISE_ORDERS = (2, 4, 6, 8)
"""Orders of differences that are tried: the higher, the less a smooth curve contributes."""

MEDIAN_OF_NORMAL = 0.6745
"""The median of |x| for a normal x of standard deviation 1."""

SIGN_CHANGES_SHARE = 0.6
"""Share of sign changes: differences with fewer are not noise. Noise has more than 0.7, a smooth
curve hardly any."""

ALIKE_SHARE = 0.65
"""Share of equal signs on neighbouring lines: differences with more are not noise. Noise has one
half, a table made of kinks nearly all."""

FEWEST_DIFFERENCES = 50
"""Differences: a median of fewer is not reliable."""


def clipped(planes: Array) -> Mask:
    """Where a value is the lowest or the highest of its channel; shape as `planes`."""
    axes = tuple(range(1, planes.ndim))
    low = planes.min(axis=axes, keepdims=True)
    high = planes.max(axis=axes, keepdims=True)
    return np.asarray((planes <= low + CLIPPED_SIGNAL) | (planes >= high - CLIPPED_SIGNAL))


def noise_level(planes: Array, at_end: Mask | None = None) -> float:
    """The standard deviation of independent noise on the values, in signal units.

    White noise σ gives k-th differences of σ·sqrt(C(2k, k)); a smooth table contributes
    less with increasing k, and along the axes on which a channel hardly changes. So the
    least estimate over orders and axes is used (by medians, of values that are not
    clipped), and of the channels the noisiest. It counts only if the differences behave
    like noise: k-th differences of noise change their sign from one to the next with a
    probability of arccos(−k / (k + 1)) / π, above 0.7; those of a smooth table mostly
    keep it.

    Parameters
    ----------
    planes
        The table by channel: shape (3, n, n, n), or (3, n) for a 1D LUT.
    at_end
        The result of `clipped`, if it is known already.
    """
    ends = clipped(planes) if at_end is None else at_end
    return max(_channel_noise(plane, end) for plane, end in zip(planes, ends, strict=True))


def _channel_noise(plane: Array, at_end: Mask) -> float:
    least, from_noise = np.inf, False
    for axis in range(plane.ndim):
        for order in NOISE_ORDERS:
            if plane.shape[axis] <= order + 2:
                continue
            differences = np.diff(plane, n=order, axis=axis)
            free = ~any_along(at_end, axis, order)
            values = np.abs(differences[free])
            if values.size < FEWEST_DIFFERENCES:
                continue
            scale = MEDIAN_OF_NORMAL * np.sqrt(comb(2 * order, order))
            estimate = float(np.median(values)) / scale
            if estimate < least:
                least = estimate
                from_noise = _sign_changes(differences, free, axis) >= SIGN_CHANGES_SHARE and (
                    plane.ndim == 1 or _alike_beside(differences, free, axis) <= ALIKE_SHARE
                )
    return least if from_noise else 0.0


def _sign_changes(differences: Array, free: Mask, axis: int) -> float:
    """The share of neighbours along the axis, not clipped, between which the sign changes."""
    both = ~any_along(~free, axis, 1)
    along = np.moveaxis(differences, axis, 0)
    turned = np.moveaxis(along[1:] * along[:-1] < 0, 0, axis)
    return float(turned[both].mean()) if both.any() else 0.0


def _alike_beside(differences: Array, free: Mask, axis: int) -> float:
    """The share of neighbours along another axis with the same sign, for the axis with most."""
    shares = []
    for other in range(differences.ndim):
        if other == axis:
            continue
        both = ~any_along(~free, other, 1)
        along = np.moveaxis(differences, other, 0)
        same = np.moveaxis(along[1:] * along[:-1] > 0, 0, other)
        shares.append(float(same[both].mean()) if both.any() else 0.0)
    return max(shares)


def any_along(mask: Mask, axis: int, reach: int) -> Mask:
    """Whether any of `reach` + 1 neighbours along the axis is marked; shorter by `reach`."""
    length = mask.shape[axis] - reach
    parts = []
    for start in range(reach + 1):
        index: list[Any] = [slice(None)] * mask.ndim
        index[axis] = slice(start, start + length)
        parts.append(mask[tuple(index)])
    return np.asarray(np.logical_or.reduce(parts))


USUAL_SIZES = (5, 7, 8, 9, 11, 13, 16, 17, 21, 25, 26, 32, 33, 49, 51, 64)
"""Usual numbers of nodes along an edge; others are tried only if every node of the smaller
table is also a node of the larger one."""

MOST_NODES = 65
"""Nodes along an edge; in larger tables only sizes whose nodes are all kept are tried, to save
time."""

SHARPER_RATIO = 20.0
"""The least ratio of a line's bend to the residual: a smooth table with few decimals is nearly
an enlarged one too."""

LEAST_BEND_SIGNAL = 5e-4
"""Signal: half a 10-bit code; a table that bends less counts as straight."""

MUCH_SMALLER_SHARE = 0.8
"""Of the nodes: a smooth table looks as if it was enlarged from slightly fewer (32 to 33)."""

STEPS_LEFT = 2.0
"""Steps of the last decimal: the second difference of a straight line that was rounded."""

MOST_VALUES = 20_000
"""Values from which the number of decimals is found."""

WHOLE_STEPS = 1e-3
"""Of a step: a value this near to a multiple was rounded to it, in float32 tables too."""

ALIGNED_LINES = 5
"""With at least this many lines each way through nodes of the smaller table, only these are
examined: on other lines tetrahedral interpolation bends between the nodes too."""

EXAMINED_LINES = 12
"""Lines each way that are examined."""


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


def enlarged_from(planes: Array) -> tuple[int, float, str] | None:
    """The size from which a table was enlarged, the residual in signal, and the interpolation.

    The interpolation is "straight" or "cubic". None if no smaller table gives this one, or if
    it is straight throughout.

    Parameters
    ----------
    planes
        Shape (3, n, n, n).
    """
    step = _rounding(planes)
    for old in _candidates(planes.shape[1]):
        if (left := _cubic(planes, old, step)) is not None:
            return old, left, "cubic"
    found = straight_from(planes)
    return None if found is None else (*found, "straight")


def straight_from(planes: Array) -> tuple[int, float] | None:
    """The size from which a table (3, n, n, n) was enlarged in straight lines, and the residual."""
    step = _rounding(planes)
    for old in _candidates(planes.shape[1]):
        if (left := _straight(planes, old, step)) is not None:
            return old, left
    return None


def shrunk(table: Array, old: int) -> Array:
    """The table of `old` nodes along an edge whose straight lines come nearest to this one.

    `table` is (n, n, n, 3), the result (old, old, old, 3).
    """
    back = np.linalg.pinv(_weights(table.shape[0], old))
    made = np.einsum("ai,bj,ck,ijkd->abcd", back, back, back, table, optimize=True)
    return np.asarray(made, dtype=np.float64)


def _straight(planes: Array, old: int, step: float) -> float | None:
    """The residual of straight interpolation, as a second difference; None if it does not fit."""
    left = bent = 0.0
    for axis in range(1, 4):
        lines = _lines(planes, axis, old)
        apart = lines - lines @ _onto(planes.shape[1], old)
        left = max(left, 2 * float(np.abs(apart).max()))
        bends = np.abs(np.diff(lines, n=2, axis=1)).max(axis=1)
        bent = max(bent, float(np.median(bends)))
    fits = left <= STEPS_LEFT * step and bent > max(SHARPER_RATIO * left, LEAST_BEND_SIGNAL)
    return left if fits else None


def _cubic(planes: Array, old: int, step: float) -> float | None:
    """The residual of cubic interpolation; None if it does not fit along all three axes."""
    if old < FEWEST_NODES or (planes.shape[1] - 1) % (old - 1):
        return None
    low, high = planes.min(axis=(1, 2, 3)), planes.max(axis=(1, 2, 3))
    left = []
    for axis in range(1, 4):
        lines = _lines(planes, axis, old)
        ranges = [np.repeat(each, len(lines) // 3)[:, None] for each in (low, high)]
        residual = residual_of_cubic(lines, old, ranges[0], ranges[1], step)
        if residual is None:
            return None
        left.append(residual)
    return max(left)


def _rounding(planes: Array) -> float:
    """The step of the decimals that the values are written with, 4 to 7 of them."""
    some = planes.reshape(-1)[:: max(1, planes.size // MOST_VALUES)]
    for decimals in range(4, 7):
        scaled = some * 10.0**decimals
        if np.abs(scaled - np.rint(scaled)).max() < WHOLE_STEPS:
            return float(10.0**-decimals)
    return 1e-7  # of float32 as well


def _candidates(size: int) -> list[int]:
    """Sizes to try, the smallest first: a table enlarged from 9 nodes also fits 17."""
    even = {(size - 1) // step + 1 for step in range(2, size // 2 + 1) if (size - 1) % step == 0}
    usual = {old for old in USUAL_SIZES if old < size} if size <= MOST_NODES else set()
    return sorted(old for old in even | usual if 3 <= old <= MUCH_SMALLER_SHARE * size)


def _lines(planes: Array, axis: int, old: int) -> Array:
    """Lines of the table along an axis, shape (m, n)."""
    size = planes.shape[1]
    through = np.arange(size)[(np.arange(size) * (old - 1)) % (size - 1) == 0]
    if len(through) < ALIGNED_LINES:
        through = np.unique(np.linspace(0, size - 1, min(size, EXAMINED_LINES)).round().astype(int))
    elif len(through) > EXAMINED_LINES:
        through = through[:: len(through) // EXAMINED_LINES]
    moved = np.moveaxis(planes, axis, -1)[:, through][:, :, through]
    return np.asarray(moved.reshape(-1, size))


@cache
def _onto(size: int, old: int) -> Array:
    """The matrix (size, size) that projects a line onto those that `old` nodes give."""
    nearest, _ = np.linalg.qr(_weights(size, old))
    return np.asarray(nearest @ nearest.T)


def _weights(size: int, old: int) -> Array:
    """The matrix (size, old) that gives the lines of `size` nodes from those of `old`."""
    at = np.linspace(0, old - 1, size)
    return np.asarray(np.maximum(0, 1 - np.abs(at[:, None] - np.arange(old))))


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
