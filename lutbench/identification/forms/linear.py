"""A matrix that keeps neutrals, fitted to light from which all later steps are undone."""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

STIFF = 1e-9
"""The share of a system's trace that keeps it solvable."""

TURNS = 3
"""Solutions of a row, each with outliers of the last weighed down."""

NEAR = 2.0
"""Times the median error beyond which a node counts less and less."""

NEAR_CODES = 0.05
"""10-bit codes that are added to that: less is arithmetic, not an outlier."""

OTHERS = np.array([[1, 2], [0, 2], [0, 1]])
"""The two other channels of each."""

ENTRIES = [(channel, int(other)) for channel in range(3) for other in OTHERS[channel]]
"""The six free numbers of a matrix that keeps neutrals: output and input channel."""


def rows_of(nodes: Array, aim: Array, weight: Array) -> Array:
    """M of every source, (s, 3, 3): rows that sum to one and take `nodes` to `aim`.

    Both are light, (s, n, 3); `weight` is in codes per light, 0 for what does not count.
    The sum of soft absolute errors is minimised, so a share of the nodes may be outliers.
    """
    matrix = np.empty((len(nodes), 3, 3))
    for c in range(3):
        a = nodes[..., OTHERS[c]] - nodes[..., c : c + 1]
        b = aim[..., c] - nodes[..., c]
        w = robust = weight[..., c]
        for turn in range(TURNS):
            wa = a * robust[..., None]
            turned = wa.transpose(0, 2, 1)
            normal = turned @ wa
            trace = np.trace(normal, axis1=1, axis2=2)
            normal += (STIFF * trace + 1e-300)[:, None, None] * np.eye(2)
            x = np.linalg.solve(normal, turned @ (b * robust)[..., None])[..., 0]
            if turn < TURNS - 1:
                miss = np.abs((a @ x[..., None])[..., 0] - b) * w
                scale = NEAR * np.median(miss, axis=1, keepdims=True) + NEAR_CODES
                robust = w / np.sqrt(1 + (miss / scale) ** 2)
        matrix[:, c, OTHERS[c]] = x
        matrix[:, c, c] = 1 - x.sum(axis=1)
    return matrix
