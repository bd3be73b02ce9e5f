"""Normal equations that may have no single solution: nodes that say nothing of a parameter."""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

RIDGE = 1e-12
"""What keeps a singular matrix solvable, as a share of its own diagonal: more than rounding."""


def solve_ridged(normal: Array, right: Array) -> Array:
    """The solutions of a stack of normal equations, (..., n, n) and (..., n, m).

    Where one has none, all are solved with next to nothing on their diagonals: a parameter that
    nothing hangs on becomes 0.

    >>> solve_ridged(np.diag([2.0, 0.0]), np.array([[4.0], [0.0]])).ravel().round(9).tolist()
    [2.0, 0.0]
    """
    try:
        return np.asarray(np.linalg.solve(normal, right))
    except np.linalg.LinAlgError:
        diagonal = np.diagonal(normal, axis1=-2, axis2=-1)
        ridge = RIDGE * diagonal + np.finfo(np.float64).tiny
        held = normal + ridge[..., None] * np.eye(normal.shape[-1])
        return np.asarray(np.linalg.solve(held, right))
