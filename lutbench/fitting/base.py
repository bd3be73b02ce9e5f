"""The simple part of a colour change: channels mixed by a matrix, then a curve for each.

It explains most of what a grade does with few parameters, so it extrapolates sensibly to
colours that were not seen. A lattice is then fitted to its residual.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.repairing import isotonic
from lutbench.fitting.scattered import smooth_curves
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import Lut1D

ROUNDS = 10
"""Alternating fits of curves and matrix; the fit ends earlier if a round gains nothing."""


@dataclass(frozen=True, eq=False)
class MixAndCurves(Transform):
    """Channels mixed by a 3×3 matrix whose rows add up to 1 (so greys stay), then curves."""

    matrix: Array
    curves: Lut1D
    kind: ClassVar[str] = "mix_and_curves"

    def _apply(self, rgb: Array) -> NDArray[Any]:
        return self.curves.apply(np.asarray(rgb @ self.matrix.T))


def fit_base(inputs: Array, outputs: Array, weights: Array | None = None) -> MixAndCurves:
    """The matrix and curves that take `inputs` nearest to `outputs`, signals of shape (m, 3).

    Curves and matrix are fitted in turn, the matrix by Gauss–Newton steps.
    """
    share = np.ones(len(inputs)) if weights is None else np.minimum(weights, 30.0)
    matrix = np.eye(3)
    curves = _curves(inputs, outputs)
    best = MixAndCurves(matrix, curves)
    least = _left(best, inputs, outputs, share)
    for _ in range(ROUNDS):
        mixed = inputs @ matrix.T
        residual = outputs - curves.apply(mixed)
        step = 1e-3
        slope = (curves.apply(mixed + step) - curves.apply(mixed - step)) / (2 * step)
        move = np.zeros((3, 3))
        for c in range(3):
            # Each row is fitted through two differences of channels, so that it still adds up to 1.
            others = [k for k in range(3) if k != c]
            columns = slope[:, c, None] * (inputs[:, others] - inputs[:, [c]])
            root = np.sqrt(share)[:, None]
            normal = (root * columns).T @ (root * columns)
            normal += 1e-3 * share.sum() * 1e-3 * np.eye(2)
            found = np.linalg.solve(normal, (root * columns).T @ (root[:, 0] * residual[:, c]))
            move[c, others] = found
            move[c, c] = -found.sum()
        matrix = matrix + np.clip(move, -0.5, 0.5)
        curves = _curves(inputs @ matrix.T, outputs)
        trial = MixAndCurves(matrix, curves)
        left = _left(trial, inputs, outputs, share)
        if left >= least:
            break
        best, least = trial, left
    return best


def _curves(inputs: Array, outputs: Array, most: int = 4000) -> Lut1D:
    """Rising curves through the points of each channel, or through `most` of them at random."""
    if len(inputs) > most:
        index = np.random.default_rng(2).choice(len(inputs), most, replace=False)
        inputs, outputs = inputs[index], outputs[index]
    return Lut1D(isotonic(smooth_curves(inputs, outputs, 65)))


def _left(base: MixAndCurves, inputs: Array, outputs: Array, share: Array) -> float:
    off = (outputs - base.apply(inputs)) ** 2
    return float((share[:, None] * off).sum() / share.sum())
