"""Normal equations that may have no single solution: nodes that say nothing of a parameter."""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

RIDGE = 1e-12
"""Directions in which nodes say less, as a share of what they say in all: that is rounding."""


def solve_ridged(normal: Array, right: Array) -> Array:
    """The solutions of a stack of normal equations, (..., n, n) and (..., n, m).

    Where one has none, all get the shortest solution that leaves least, each parameter in units of
    its own diagonal: one that nothing hangs on becomes 0.

    >>> solve_ridged(np.diag([2.0, 0.0]), np.array([[4.0], [0.0]])).ravel().round(9).tolist()
    [2.0, 0.0]
    """
    try:
        return np.asarray(np.linalg.solve(normal, right))
    except np.linalg.LinAlgError:
        size = np.sqrt(np.maximum(np.diagonal(normal, axis1=-2, axis2=-1), 0.0))[..., None]
        told = size > 0
        size = np.where(told, size, 1.0)
        even = np.linalg.pinv(normal / (size * np.swapaxes(size, -1, -2)), RIDGE, hermitian=True)
        return np.where(told, even @ (right / size) / size, 0.0)
