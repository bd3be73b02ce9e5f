"""The noise of a table: the scatter of its values around a smooth table."""

from __future__ import annotations

from math import comb
from typing import Any

import numpy as np

from lutbench.model.transforms import Array, Mask

CLIPPED_WITHIN = 1e-5
"""Signal: a value this near to the lowest or highest of its channel counts as clipped. It is a
hundredth of a 10-bit code, more than the rounding of a six-decimal file."""

NOISE_ORDERS = (2, 4, 6, 8)
"""Orders of differences that are tried: the higher, the less a smooth curve contributes."""

MEDIAN_OF_NORMAL = 0.6745
"""The median of |x| for a normal x of standard deviation 1."""

SIGN_CHANGES = 0.6
"""Share of sign changes: differences with fewer are not noise. Noise has more than 0.7, a smooth
curve hardly any."""

ALIKE = 0.65
"""Share of equal signs on neighbouring lines: differences with more are not noise. Noise has one
half, a table made of kinks nearly all."""

FEWEST_DIFFERENCES = 50
"""Differences: a median of fewer is not reliable."""


def clipped(planes: Array) -> Mask:
    """Where a value is the lowest or the highest of its channel; shape as `planes`."""
    axes = tuple(range(1, planes.ndim))
    low = planes.min(axis=axes, keepdims=True)
    high = planes.max(axis=axes, keepdims=True)
    return np.asarray((planes <= low + CLIPPED_WITHIN) | (planes >= high - CLIPPED_WITHIN))


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
                from_noise = _sign_changes(differences, free, axis) >= SIGN_CHANGES and (
                    plane.ndim == 1 or _alike_beside(differences, free, axis) <= ALIKE
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
