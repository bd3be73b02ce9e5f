"""The gamut matrix between two known curves, and the gamut pairs that give it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.robust import NORMAL_SPREAD, masked_median
from lutbench.identification.common import LEAST
from lutbench.identification.curvebank import End
from lutbench.identification.gamutbank import GamutBank
from lutbench.identification.samples import CODES, Samples
from lutbench.model.transforms import Array

ROWS = 1500
"""Nodes that a fit uses in each channel."""

REACH = 0.004
"""Full-scale value over which slopes are taken, so that an infinite slope at black is limited."""

OUTLIER = 4 * NORMAL_SPREAD
"""Times the median residual beyond which a node is an outlier: four standard deviations."""

INNER = 0.12
"""The share of the neutral axis over which the channels of an inner node may spread."""

NEAREST = 300
"""The fewest inner nodes, however far they spread."""

EDGE = 0.04
"""The share of the output at each end in which nodes may have been clipped before a look."""

FEWEST = 150
"""The fewest nodes for which those near the ends are left out."""

FEWEST_ROWS = 12
"""The fewest nodes from which a channel's row of the matrix is determined."""

TOGETHER = 8
"""Pairs of curves that are fitted at once: they fit into the processor's cache."""


@dataclass(frozen=True)
class MatrixFit:
    """The matrix k·M that takes light in to light out.

    `rows` is k·M, shape (3, 3). `normal` holds for each output channel the mean
    of the products of the weighed light, shape (3, 3, 3), so that another
    matrix N misses by the mean square error² + Σ (N - rows)ᵀ·normal·(N - rows)
    (codes², averaged over the channels). `share` is the part of the nodes that
    the fit explains and was made on.
    """

    rows: Array
    normal: Array
    error: float
    share: float


def chosen_nodes(samples: Samples, rows: int = ROWS, seed: int = 0) -> list[NDArray[np.int64]]:
    """For each channel, indices of nodes (flat) that are clear of clipping; at most `rows`."""
    rng = np.random.default_rng(seed)
    clear = samples.inside(samples.table.reshape(-1, 3))
    chosen = []
    for c in range(3):
        places = np.flatnonzero(clear[:, c])
        chosen.append(places if len(places) <= rows else rng.choice(places, rows, replace=False))
    return chosen


def inner_nodes(samples: Samples, rows: int = 2 * ROWS, seed: int = 0) -> NDArray[np.int64]:
    """Indices of nodes that are clear in all channels and of moderate saturation.

    These spread least over the neutral axis, and are some hundreds at least: they are the
    least likely to have been clipped before a look or compressed.
    """
    flat = samples.table.reshape(-1, 3)
    places = np.flatnonzero(samples.inside(flat).all(axis=1))
    if len(places) < 40:
        return places
    edge = EDGE * (samples.high - samples.low)
    clear = ((flat[places] > samples.low + edge) & (flat[places] < samples.high - edge)).all(axis=1)
    if clear.sum() >= FEWEST:
        places = places[clear]
    axis = samples.neutral.mean(axis=1)
    order = np.argsort(axis)
    through = np.interp(flat[places], axis[order], samples.neutral_in[order])
    spread = np.ptp(through, axis=1)
    nearest = float(np.sort(spread)[min(NEAREST, len(spread) - 1)])
    limit = max(nearest, INNER * float(np.ptp(samples.neutral_in)))
    places = places[spread <= limit]
    if len(places) > rows:
        places = np.random.default_rng(seed).choice(places, rows, replace=False)
    return places


def fit_matrices(
    samples: Samples,
    pairs: Sequence[tuple[End, End]],
    chosen: list[NDArray[np.int64]],
    *,
    absolute: bool = False,
    exact: bool = True,
) -> list[MatrixFit | None]:
    """The matrix of each pair of curves by weighted least squares on the chosen nodes.

    None where there are too few nodes. With `absolute` the sum of absolute errors is
    minimised, and the error is the typical one, so that nodes with an exact fit count however
    far off the others are. Unless `exact`, targets are read from tables, which is quicker and
    accurate to some hundredths of a code.
    """
    nodes = _LightNodes(samples, chosen, exact)
    found: list[MatrixFit | None] = []
    for first in range(0, len(pairs), TOGETHER):
        found += _fitted(nodes, pairs[first : first + TOGETHER], absolute)
    return found


class _LightNodes:
    """Light of the chosen nodes on both sides, computed once for each curve.

    Channels with fewer nodes are padded to the same number; `real` marks the nodes that are
    not padding, shape (3, n).
    """

    def __init__(
        self,
        samples: Samples,
        chosen: list[NDArray[np.int64]],
        exact: bool,
    ) -> None:
        self.samples, self.exact = samples, exact
        counts = np.array([len(each) for each in chosen])
        self.real = np.arange(counts.max(initial=0)) < counts[:, None]
        index = np.zeros(self.real.shape, dtype=np.int64)
        for row, each in zip(index, chosen, strict=True):
            row[: len(each)] = each
        size = len(samples.axis)
        flat = samples.table.reshape(-1, 3)
        self.signal = np.stack([flat[index[c], c] for c in range(3)])
        # Where all channels use the same nodes, they share light in.
        kept = index[:1] if (index == index[:1]).all() else index
        self.places = np.stack(np.unravel_index(kept, (size, size, size)), axis=-1)
        self._light_in: dict[tuple[int, str], Array] = {}
        self._light_out: dict[tuple[int, str], tuple[Array, Array]] = {}

    def light_in(self, source: End) -> Array:
        """Decoded input, shape (1 or 3, n, 3)."""
        key = source.number, source.range
        if key not in self._light_in:
            self._light_in[key] = source.of_axis(self.samples.axis)[self.places]
        return self._light_in[key]

    def light_out(self, target: End) -> tuple[Array, Array]:
        """Light out and codes per light, shapes (3, n)."""
        key = target.number, target.range
        if key not in self._light_out:
            decode = target.decode if self.exact else target.light_near
            light = decode(self.signal)
            above, below = decode(np.stack([self.signal + REACH, self.signal - REACH]))
            rise = above - below
            with np.errstate(all="ignore"):
                self._light_out[key] = light, 2 * REACH * CODES / rise
        return self._light_out[key]


def _fitted(
    nodes: _LightNodes, pairs: Sequence[tuple[End, End]], absolute: bool
) -> list[MatrixFit | None]:
    light_in = np.array([nodes.light_in(source) for source, _ in pairs])
    light, weight = (
        np.array(each) for each in zip(*(nodes.light_out(t) for _, t in pairs), strict=True)
    )
    fits = np.isfinite(light_in).all(axis=3) & np.isfinite(light) & np.isfinite(weight)
    fits &= (light > 0) & (weight > 0) & nodes.real
    weight = np.where(fits, weight, 0.0)
    a = np.where(fits[..., None], light_in, 0.0) * weight[..., None]
    b = np.where(fits, light, 0.0) * weight
    solve = _solve_absolute if absolute else _solve
    rows, normals, squares, shares = solve(a, b, fits)
    enough = (fits.sum(axis=2) >= FEWEST_ROWS).all(axis=1)
    error, share = np.sqrt(squares.mean(axis=1)), shares.mean(axis=1)
    return [
        MatrixFit(rows[p], normals[p], float(error[p]), float(share[p])) if enough[p] else None
        for p in range(len(pairs))
    ]


def _solve(a: Array, b: Array, fits: NDArray[np.bool_]) -> tuple[Array, Array, Array, Array]:
    """Least squares in each channel, then again without outliers.

    a is (p, 3, n, 3), b and `fits` (p, 3, n). Returns the solution (p, 3, 3), the mean of the
    products, the mean square residual, and the share of rows that were used.
    """
    count = fits.sum(axis=2)
    keep = fits
    for _ in range(3):
        kept = np.where(keep[..., None], a, 0.0).swapaxes(2, 3)
        normal = kept @ a
        solution = _solution(normal, kept @ b[..., None])
        miss = np.abs((a @ solution[..., None])[..., 0] - b)
        limit = OUTLIER * masked_median(miss, fits) + 1e-3
        beyond: NDArray[np.bool_] = np.any(keep & (miss > limit[..., None]), axis=2)
        if not beyond.any():
            break
        keep = np.where(beyond[..., None], fits & (miss <= limit[..., None]), keep)
    number = np.maximum(keep.sum(axis=2), 1)
    kept = np.where(keep[..., None], a, 0.0).swapaxes(2, 3)
    square = np.where(keep, miss**2, 0.0).sum(axis=2) / number
    return solution, kept @ a / number[..., None, None], square, number / np.maximum(count, 1)


def _solve_absolute(
    a: Array, b: Array, fits: NDArray[np.bool_]
) -> tuple[Array, Array, Array, Array]:
    """The least sum of absolute errors, by reweighted least squares; otherwise as `_solve`."""
    turned = a.swapaxes(2, 3)
    count = np.maximum(fits.sum(axis=2), 1)
    weight: Array = np.ones(b.shape)
    for step in range(12):
        weighed = turned * weight[:, :, None]
        solution = _solution(weighed @ a, weighed @ b[..., None])
        miss = np.abs(b - (a @ solution[..., None])[..., 0])
        weight = 1 / (miss + max(0.05, 10 * 0.5**step))
    logs = np.where(fits, np.log(miss + LEAST), 0.0)
    typical = np.exp(logs.sum(axis=2) / count) - LEAST
    close = fits & (miss <= 3 * typical[..., None] + 0.1)
    number = close.sum(axis=2)
    near = np.where(close[..., None], a, 0.0).swapaxes(2, 3)
    normal = near @ a / np.maximum(number, 1)[..., None, None]
    return solution, normal, typical**2, number / count


def _solution(normal: Array, right: Array) -> Array:
    """The solution of normal equations (..., 3, 3), with a tiny ridge against singularity."""
    trace = np.trace(normal, axis1=-2, axis2=-1)[..., None, None]
    held = normal + (1e-13 * trace + 1e-300) * np.eye(3)
    return np.asarray(np.linalg.solve(held, right)[..., 0])


def match_gamuts(fit: MatrixFit, bank: GamutBank) -> tuple[Array, Array]:
    """For each pair of the bank, the root mean square error in codes and the gain k."""
    normal = np.zeros((9, 9))
    for c in range(3):
        normal[3 * c : 3 * c + 3, 3 * c : 3 * c + 3] = fit.normal[c] / 3
    mine = fit.rows.reshape(9)
    through = bank.flat @ normal
    gain = (through @ mine) / np.einsum("ij,ij->i", through, bank.flat)
    off = gain[:, None] * bank.flat - mine
    extra = np.einsum("ij,ij->i", off @ normal, off)
    error = np.sqrt(np.maximum(extra, 0) + fit.error**2)
    return np.where(gain > 0, error, np.inf), gain
