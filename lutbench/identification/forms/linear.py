"""A matrix that keeps neutrals, fitted to light from which all later steps are undone."""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

STIFF = 1e-9
"""The share of a system's trace that keeps it solvable."""

NOTHING = 1e-30
"""Codes, squared, that are added to it where no node counts."""

TURNS = 3
"""Solutions of a row, each with outliers of the last weighed down."""

NEAR = 2.0
"""Times the median error beyond which a node counts less and less."""

NEAR_CODES = 0.05
"""10-bit codes that are added to that: less is arithmetic, not an outlier."""

OTHERS = np.array([[1, 2], [0, 2], [0, 1]])
"""The two other channels of each."""


def rows_of(nodes: Array, aim: Array, weight: Array) -> Array:
    """M of every source, (s, 3, 3): rows that sum to one and take `nodes` to `aim`.

    Both are light, (s, n, 3); `weight` is in codes per light, 0 for what does not count.
    The sum of soft absolute errors is minimised, so a share of the nodes may be outliers.
    """
    matrix = np.empty((len(nodes), 3, 3))
    for c in range(3):
        first, second = (nodes[..., other] - nodes[..., c] for other in OTHERS[c])
        rest, w = aim[..., c] - nodes[..., c], np.ascontiguousarray(weight[..., c])
        robust = w
        for turn in range(TURNS):
            x, y = _solved(first * robust, second * robust, rest * robust)
            if turn < TURNS - 1:
                miss = np.abs(first * x + second * y - rest) * w
                scale = NEAR * np.median(miss, axis=1, keepdims=True) + NEAR_CODES
                robust = w / np.sqrt(1 + (miss / scale) ** 2)
        matrix[:, c, OTHERS[c]] = np.concatenate([x, y], axis=1)
        matrix[:, c, c] = 1 - x[:, 0] - y[:, 0]
    return matrix


def _solved(a: Array, b: Array, aim: Array) -> tuple[Array, Array]:
    """x and y, (s, 1), that bring a x + b y nearest to `aim` over the nodes, each (s, n)."""
    aa, ab, bb, ta, tb = (
        np.einsum("sn,sn->s", *each) for each in ((a, a), (a, b), (b, b), (a, aim), (b, aim))
    )
    stiff = STIFF * (aa + bb) + NOTHING
    aa, bb = aa + stiff, bb + stiff
    whole = aa * bb - ab * ab
    return ((bb * ta - ab * tb) / whole)[:, None], ((aa * tb - ab * ta) / whole)[:, None]
