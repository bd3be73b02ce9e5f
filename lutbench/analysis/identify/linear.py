"""Normal equations that may have no single solution: nodes that say nothing of a parameter."""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

RIDGE = 1e-12
"""What keeps a singular matrix solvable, as a share of its largest diagonal value."""


def solve(matrices: Array, right: Array) -> Array:
    """The solutions of a stack of symmetric systems, (..., n, n) and (..., n, m).

    Where one has none, all are solved with next to nothing on their diagonals: a parameter that
    nothing hangs on becomes 0.

    >>> solve(np.diag([2.0, 0.0]), np.array([[4.0], [0.0]])).ravel().round(9).tolist()
    [2.0, 0.0]
    """
    try:
        return np.asarray(np.linalg.solve(matrices, right))
    except np.linalg.LinAlgError:
        size = matrices.shape[-1]
        most = np.abs(np.diagonal(matrices, axis1=-2, axis2=-1)).max(axis=-1)
        ridge = (RIDGE * most + np.finfo(np.float64).tiny)[..., None, None] * np.eye(size)
        try:
            return np.asarray(np.linalg.solve(matrices + ridge, right))
        except np.linalg.LinAlgError:
            return np.asarray(np.linalg.pinv(matrices, hermitian=True) @ right)
