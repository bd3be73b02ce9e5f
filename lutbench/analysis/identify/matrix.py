"""The gamut matrix between two known curves, and the gamut pairs that give it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.analysis.identify.curvebank import End
from lutbench.analysis.identify.gamutbank import GamutBank
from lutbench.analysis.identify.samples import CODES, Samples
from lutbench.model.transforms import Array, Transform

ROWS = 1500
"""Nodes that a fit looks at in each channel."""

# Slopes are taken over this much signal, so that a curve with an endless slope
# at black does not drown the rest.
REACH = 0.004
OUTLIER = 4 * 1.4826
INNER, NEAREST = 0.12, 300
EDGE, FEWEST = 0.04, 150
"""Nodes this near to an end of the output may have been clipped before a look moved them."""

LEAST = 0.02


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

    Those that spread least over the neutral axis, and some hundreds at least: there
    neither clipping before a look nor compression of the gamut has acted.
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


def fit_matrix(
    samples: Samples,
    source: End,
    target: End,
    chosen: list[NDArray[np.int64]],
    *,
    absolute: bool = False,
    expansion: Transform | None = None,
) -> MatrixFit | None:
    """The matrix by weighted least squares on the chosen nodes; None where too few can tell.

    With `absolute` the sum of absolute errors is made least, and the error told
    is the typical one: nodes that fit exactly count, however far the others lie.
    An `expansion` undoes a compression of the gamut, of nodes clear in all channels.
    """
    grid = source.decode(samples.axis)
    size = len(samples.axis)
    flat = samples.table.reshape(-1, 3)
    rows, normals = np.empty((3, 3)), np.empty((3, 3, 3))
    squares, shares = 0.0, 0.0
    for c in range(3):
        places = np.array(np.unravel_index(chosen[c], (size, size, size)))
        light_in = grid[places].T
        signal = flat[chosen[c], c]
        if expansion is None:
            light = target.decode(signal)
        else:
            light = expansion.apply(target.decode(flat[chosen[c]]))[:, c]
        rise = target.decode(signal + REACH) - target.decode(signal - REACH)
        with np.errstate(all="ignore"):
            weight = 2 * REACH * CODES / rise
        fits = np.isfinite(light_in).all(axis=1) & np.isfinite(light) & np.isfinite(weight)
        fits &= (light > 0) & (weight > 0)
        if fits.sum() < 12:
            return None
        solve = _solve_absolute if absolute else _solve
        solved = solve(light_in[fits] * weight[fits, None], light[fits] * weight[fits])
        if solved is None:
            return None
        rows[c], normals[c], square, share = solved
        squares += square / 3
        shares += share / 3
    return MatrixFit(rows, normals, float(np.sqrt(squares)), shares)


def _solve(a: Array, b: Array) -> tuple[Array, Array, float, float] | None:
    """Least squares, then again without what lies far off."""
    keep = np.ones(len(b), dtype=bool)
    solution: Array = np.zeros(3)
    for _ in range(3):
        normal = a[keep].T @ a[keep]
        try:
            solution = np.asarray(np.linalg.solve(normal, a[keep].T @ b[keep]))
        except np.linalg.LinAlgError:
            return None
        miss = np.abs(a @ solution - b)
        limit = OUTLIER * np.median(miss) + 1e-3
        if (miss[keep] <= limit).all():
            break
        keep = miss <= limit
    miss2 = float(np.mean((a[keep] @ solution - b[keep]) ** 2))
    return solution, a[keep].T @ a[keep] / keep.sum(), miss2, float(keep.mean())


def _solve_absolute(a: Array, b: Array) -> tuple[Array, Array, float, float] | None:
    """The least sum of absolute errors, by least squares weighed anew."""
    weight: Array = np.ones(len(b))
    solution: Array = np.zeros(3)
    for step in range(12):
        weighed = a.T * weight
        try:
            solution = np.asarray(np.linalg.solve(weighed @ a, weighed @ b))
        except np.linalg.LinAlgError:
            return None
        miss = np.abs(b - a @ solution)
        weight = 1 / (miss + max(0.05, 10 * 0.5**step))
    typical = float(np.exp(np.mean(np.log(miss + LEAST)))) - LEAST
    close = miss <= 3 * typical + 0.1
    near = a[close]
    return solution, near.T @ near / max(close.sum(), 1), typical**2, float(close.mean())


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
