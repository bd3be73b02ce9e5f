"""A free fit: its free parameters, and the curve, the matrices and the errors found.

The model: Q·out = G(M·L), with L the light of the source, M a matrix that keeps
neutrals, G any rising curve in each channel, and Q any matrix that keeps
neutrals. G contains the target's curve, a tone curve, exposure, and a CDL's slope,
offset and power; the inverse of Q contains saturation and any other linear mixing of
the signal's channels. G is a cubic spline over the source's own signal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.ground import CurveGround
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array

KNOTS = 22
"""Intervals of the spline of G."""

BASIS = KNOTS + 3
"""Parameters of one curve of G, a cubic spline."""

BETWEEN = 0.15
"""The weight of G between the neutral nodes, relative to its weight at them."""

ENOUGH = 12.0
"""Values near a point of G from which it counts as known there."""

NOISE_OF_MEDIAN = 1.155
"""The root mean square of uniform noise over the median of its size (2/√3)."""

NOISE_SPREAD = 1.06
"""Times that ratio up to which the residual of a fit counts as uniform noise."""

NO_TAIL = 1.5
"""The same ratio for normal noise (1.4826), to which a mixing adds up the noise of channels."""


@dataclass(frozen=True)
class CurveForm:
    """What is free in a fit: a curve for each channel, a compression; `held` fixes M."""

    tinted: bool = False
    held: bool = False
    compression: GamutCompression | None = None

    @property
    def curves(self) -> int:
        """The number of curves in G."""
        return 3 if self.tinted else 1

    @property
    def rows(self) -> int:
        """The number of M's six free entries that a channel depends on: those of its own row, or
        with a compression all of them.
        """
        if self.held:
            return 0
        return 2 if self.compression is None else 6

    @property
    def systems(self) -> int:
        """The number of separate systems of equations: one per channel if they share nothing."""
        return 3 if self.tinted and self.rows != 6 else 1

    @property
    def matrix_at(self) -> int:
        """The index of M's six free entries among all parameters, after the curves."""
        return self.curves * BASIS

    @property
    def mixing_at(self) -> int:
        """The index of Q's six free entries, the last."""
        return self.matrix_at + (0 if self.held else 6)


@dataclass(frozen=True)
class CurveFit:
    """A fit of one source: see the module's docstring for M, Q and G.

    `error` is the root mean square in codes over the nodes that the fit keeps, divided by
    their number less the number of parameters; `share` is their part of all nodes, `typical`
    the median over all. `seen` is how many nodes determine each knot of G. `normal`, shape
    (6, 6), gives the mean square error in codes² that a change of M's six free entries adds
    when all else is fitted again.
    """

    source: int
    form: CurveForm
    matrix: Array
    mixing: Array
    low: float
    high: float
    knots: Array | None = None
    seen: Array | None = None
    error: float = np.inf
    typical: float = np.inf
    share: float = 0.0
    normal: Array | None = None
    settled: bool = False

    @property
    def is_noise(self) -> bool:
        """Whether the residual is distributed like uniform noise, without a tail."""
        return self.error <= NOISE_SPREAD * NOISE_OF_MEDIAN * self.typical

    @property
    def no_tail(self) -> bool:
        """Whether the residual has no more of a tail than the summed noise of channels."""
        return self.error <= NO_TAIL * self.typical

    def curve(self, values: Array) -> Array:
        """G: the de-mixed output of neutral full-scale input, shape (n, 3)."""
        assert self.knots is not None
        place, weights, _ = spline_basis(values, self.low, self.high)
        return np.stack([(weights * row[place]).sum(axis=0) for row in self.knots], axis=-1)

    def _support(self, values: Array) -> Array:
        """How well nodes determine G at neutral full-scale input: 0 for no nodes, 1 for enough."""
        assert self.seen is not None
        place, weights, _ = spline_basis(values, self.low, self.high)
        return np.asarray(np.minimum((weights * self.seen[place]).sum(axis=0) / ENOUGH, 1.0))

    def unmixed(self, outputs: Array) -> Array:
        """Q·out: the output of G, from full-scale outputs (n, 3)."""
        return np.asarray(outputs @ self.mixing.T)

    def free_curve(self, ground: CurveGround) -> tuple[Array, Array, Array]:
        """G at the neutral nodes, where the LUT itself gives it, and halfway between them.

        Inputs, outputs, and the weight of each. Without a matrix no node lies between, so
        nothing is known there.
        """
        inputs, outputs = ground.neutral_in, self.unmixed(ground.neutral)
        if np.abs(self.matrix - np.eye(3)).max() < 1e-3:
            return inputs, outputs, np.ones(len(inputs))
        off = outputs - self.curve(inputs)
        halves = (inputs[:-1] + inputs[1:]) / 2
        between = self.curve(halves) + (off[:-1] + off[1:]) / 2
        places = np.concatenate([inputs, halves])
        order = np.argsort(places)
        trust = np.concatenate([np.ones(len(inputs)), BETWEEN * self._support(halves)])
        return places[order], np.concatenate([outputs, between])[order], trust[order]


def spline_basis(
    u: Array, low: Array | float, high: Array | float
) -> tuple[NDArray[np.int64], Array, Array]:
    """Uniform cubic B-splines of u, (...): places, weights and their slopes, each (4, ...)."""
    # Light that overflows has no place.
    t = np.clip(np.nan_to_num((u - low) / (high - low)) * KNOTS, 0, KNOTS - 1e-9)
    cell = t.astype(np.int64)
    x = t - cell
    rest, square = 1 - x, x * x
    weights = np.empty((4, *x.shape))
    weights[0] = rest * rest * rest / 6
    weights[3] = square * x / 6
    weights[1] = 2 / 3 - square + 3 * weights[3]
    weights[2] = 1 - weights[0] - weights[1] - weights[3]
    slopes = np.empty((4, *x.shape))
    slopes[0] = -rest * rest / 2
    slopes[3] = square / 2
    slopes[1] = 3 * slopes[3] - 2 * x
    slopes[2] = -slopes[0] - slopes[1] - slopes[3]
    slopes *= KNOTS / (high - low)
    return np.stack([cell, cell + 1, cell + 2, cell + 3]), weights, slopes
