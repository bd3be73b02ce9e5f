"""Normal equations that may be singular, because the data do not determine a parameter."""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

RIDGE = 1e-12
"""Relative eigenvalue: directions with a smaller one are undetermined, except for rounding."""


def solve_ridged(normal: Array, right: Array) -> Array:
    """The solutions of a stack of normal equations, (..., n, n) and (..., n, m).

    If one of them is singular, all get the minimum-norm least-squares solution, each parameter
    scaled by its own diagonal; a parameter that the data do not determine becomes 0.

    >>> solve_ridged(np.diag([2.0, 0.0]), np.array([[4.0], [0.0]])).ravel().round(9).tolist()
    [2.0, 0.0]
    """
    try:
        return np.asarray(np.linalg.solve(normal, right))
    except np.linalg.LinAlgError:
        size = np.sqrt(np.maximum(np.diagonal(normal, axis1=-2, axis2=-1), 0.0))[..., None]
        determined = size > 0
        size = np.where(determined, size, 1.0)
        scaled = normal / (size * np.swapaxes(size, -1, -2))
        inverse = np.linalg.pinv(scaled, RIDGE, hermitian=True)
        return np.where(determined, inverse @ (right / size) / size, 0.0)
