"""The equations of a free fit: rows of nodes, their sums by knots, and their solution.

A Gauss-Newton step has a row for every node and channel; outliers are weighed down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.linear import solve_ridged
from lutbench.fitting.robust import NORMAL_SPREAD, bisquare, masked_median
from lutbench.identification.freefit import BASIS, KNOTS, CurveFit, CurveForm
from lutbench.identification.ground import COLLAPSED, FEWEST, mixing_of
from lutbench.identification.samples import CODES
from lutbench.model.transforms import Array

MIXING_COSTS = 10.0
"""The weight that keeps Q where the nodes hardly determine it."""

LEAST_FREEDOM = 0.05
"""The least share of the nodes by which an error is divided, however many numbers are free."""

UNSAID = 1e-9
"""The weight that keeps a system of equations solvable."""

# The cost of bends of G: tiny, but knots without nodes stay in line with the others.
_SECOND = np.diff(np.eye(BASIS), n=2, axis=0)
_BENDING = 1e-2 * _SECOND.T @ _SECOND + 1e-9 * np.eye(BASIS)


@dataclass(frozen=True)
class Rows:
    """The rows of a system, one for each fit, channel and node, in codes.

    A row depends on four knots of its curve from `cell` (s, 3, n) on, by `basis`
    (4, s, 3, n), and on `rest` (s, 3, r, n): the entries of M, if free, and of its row of Q.
    """

    cell: NDArray[np.int64]
    basis: Array
    rest: Array
    target: Array
    seen: NDArray[np.bool_]

    @cached_property
    def _bins(self) -> NDArray[np.int64]:
        fit, channel = np.arange(len(self.cell))[:, None, None], np.arange(3)[:, None]
        return np.asarray(((3 * fit + channel) * KNOTS + self.cell).ravel())

    def _by_cell(self, values: Array) -> Array:
        """The sum of values (s, 3, n) in each cell, shape (s, 3, KNOTS)."""
        fits, channels, _ = self.cell.shape
        sums = np.bincount(self._bins, values.ravel(), minlength=fits * channels * KNOTS)
        return np.asarray(sums.reshape(fits, channels, KNOTS), dtype=np.float64)

    def by_knot(self, weight: Array) -> Array:
        """The sum of weights (s, 3, n) at each knot, shape (s, 3, BASIS)."""
        sums = np.zeros((*self.cell.shape[:2], BASIS))
        for i in range(4):
            sums[..., i : i + KNOTS] += self._by_cell(self.basis[i] * weight)
        return sums

    def products(self, weight: Array) -> tuple[Array, Array]:
        """The normal equations of each channel, (s, 3, k, k) and (s, 3, k), rows weighed.

        A row has four knots: sums by cells take far less time than products of whole rows.
        """
        count = BASIS + self.rest.shape[2]
        normal = np.zeros((*self.cell.shape[:2], count, count))
        sides = np.zeros((*self.cell.shape[:2], count))
        first = np.arange(KNOTS)
        for i in range(4):
            weighed = self.basis[i] * weight
            here = slice(i, i + KNOTS)
            sides[..., here] += self._by_cell(weighed * self.target)
            for j in range(i, 4):
                sums = self._by_cell(weighed * self.basis[j])
                normal[..., first + i, first + j] += sums
                if j > i:
                    normal[..., first + j, first + i] += sums
            for k in range(self.rest.shape[2]):
                normal[..., here, BASIS + k] += self._by_cell(weighed * self.rest[:, :, k])
        normal[..., BASIS:, :BASIS] = normal[..., :BASIS, BASIS:].swapaxes(2, 3)
        weighed = self.rest * weight[:, :, None]
        normal[..., BASIS:, BASIS:] = weighed @ self.rest.swapaxes(2, 3)
        sides[..., BASIS:] = (weighed @ self.target[..., None])[..., 0]
        return normal, sides

    def missed(self, solution: Array) -> Array:
        """The residual of a solution (s, 3, k), shape (s, 3, n)."""
        fit, channel = np.arange(len(self.cell))[:, None, None], np.arange(3)[:, None]
        left = self.target - (solution[:, :, None, BASIS:] @ self.rest)[:, :, 0]
        for i in range(4):
            left -= solution[fit, channel, self.cell + i] * self.basis[i]
        return np.asarray(left)


@dataclass(frozen=True)
class StepSolved:
    """The solution of one step of one fit, the weights of its rows and their residuals, (3, n).

    `normal` and `prior` are its systems of equations, (systems, k, k): see
    `CurveForm.systems`.
    """

    matrix: Array
    mixing: Array
    knots: Array
    rests: Array
    weight: Array
    miss: Array
    normal: Array
    prior: Array
    typical: float
    count: int


def measured_fits(fits: Sequence[CurveFit], solved: Sequence[StepSolved]) -> list[CurveFit]:
    """Fits of one form with their errors, and the number of nodes behind each part."""
    if not fits:
        return []
    form = fits[0].form
    weight = np.array([one.weight for one in solved])
    kept = weight.sum(axis=(1, 2))
    square = (weight * np.array([one.miss for one in solved]) ** 2).sum(axis=(1, 2))
    normal = np.array([one.normal for one in solved])
    # Less the parameters: with few nodes, a free curve follows all of them.
    used = solve_ridged(normal, normal - np.array([one.prior for one in solved]))
    freedom = kept - np.trace(used, axis1=2, axis2=3).sum(axis=1)
    error = np.sqrt(square / np.maximum(np.maximum(freedom, LEAST_FREEDOM * kept), 1e-9))
    costs = _cost_of_matrix(normal, form) / kept[:, None, None] if form.rows else None
    return [
        replace(
            fit,
            seen=one.rests,
            error=float(error[i]),
            typical=one.typical,
            share=float(kept[i]) / one.count,
            normal=fit.normal if costs is None else costs[i],
        )
        for i, (fit, one) in enumerate(zip(fits, solved, strict=True))
    ]


def solved_rows(rows: Rows, fits: Sequence[CurveFit]) -> list[StepSolved | None]:
    """The solution of the rows of each fit, with outliers weighed down."""
    form = fits[0].form
    count = rows.seen.sum(axis=1)
    counted = np.broadcast_to(rows.seen[:, None], rows.target.shape)
    weight = counted.astype(np.float64)
    for _ in range(3 if any(fit.knots is None for fit in fits) else 2):
        solution, normal, miss = _solution(rows, form, weight)
        scale = NORMAL_SPREAD * _typical(miss, counted) + 1e-4
        weight = bisquare(miss, 6 * scale[:, None, None]) * counted
    typical = _typical(miss, counted)
    rests = rows.by_knot(weight).sum(axis=1) / CODES
    found: list[StepSolved | None] = []
    for i, fit in enumerate(fits):
        mixing = mixing_of(solution[i, form.mixing_at :].reshape(3, 2))
        if count[i] < FEWEST // 2 or np.diag(mixing).min() < COLLAPSED:
            found.append(None)
            continue
        curves = solution[i, : form.matrix_at].reshape(form.curves, BASIS)
        knots = np.broadcast_to(curves, (3, BASIS))
        matrix = fit.matrix
        if form.rows:
            free = solution[i, form.matrix_at : form.mixing_at].reshape(3, 2)
            matrix = np.hstack([free, 1 - free.sum(axis=1, keepdims=True)])
        size = float(typical[i]), 3 * int(count[i])
        rows_of_fit = rests[i], weight[i], miss[i], normal[i], _prior(form)
        found.append(StepSolved(matrix, mixing, knots, *rows_of_fit, *size))
    return found


def _solution(rows: Rows, form: CurveForm, weight: Array) -> tuple[Array, Array, Array]:
    """All parameters of each fit by least squares, the systems they solve, and the residuals."""
    own, prior = _places_of(form.curves, form.rows), _prior(form)
    fits = len(rows.target)
    corners, sides = rows.products(weight)
    solution: Array = np.zeros((fits, form.mixing_at + 6))
    if form.systems == 3:
        normal = corners + prior
        solution[:, own] = solve_ridged(normal, sides[..., None])[..., 0]
    else:
        # The channels share few parameters: each has its own block of the system.
        normal, wanted = np.repeat(prior[None], fits, axis=0), np.zeros(solution.shape)
        for c in range(3):
            normal[:, 0, own[c][:, None], own[c]] += corners[:, c]
            wanted[:, own[c]] += sides[:, c]
        solution = solve_ridged(normal[:, 0], wanted[..., None])[..., 0]
    return solution, normal, rows.missed(solution[:, own])


def _typical(miss: Array, counted: NDArray[np.bool_]) -> Array:
    """The median size of the residuals that count in each fit, shape (fits,)."""
    rows = len(miss), -1
    return masked_median(np.abs(miss).reshape(rows), counted.reshape(rows))


@lru_cache(maxsize=16)
def _places_of(curves: int, rows: int) -> NDArray[np.int64]:
    """The indices of each channel's parameters, (3, k): of its curve, its part of M and Q."""
    at = curves * BASIS
    mixing_at = at + 6 * (rows > 0)
    places = []
    for channel in range(3):
        first = channel * BASIS if curves == 3 else 0
        matrix = at if rows == 6 else at + 2 * channel
        mixing = mixing_at + 2 * channel
        places.append(
            np.r_[first : first + BASIS, matrix : matrix + rows, mixing : mixing + 2],
        )
    return np.array(places, dtype=np.int64)


def _prior(form: CurveForm) -> Array:
    """The cost of the parameters themselves, for each system of a fit."""
    costs = np.zeros((form.mixing_at + 6, form.mixing_at + 6))
    for c in range(form.curves):
        here = slice(c * BASIS, (c + 1) * BASIS)
        costs[here, here] = _BENDING
    others = np.arange(form.matrix_at, len(costs))
    # Tiny for M: a row that no node determines then stays at zero.
    costs[others, others] = np.where(others < form.mixing_at, UNSAID, MIXING_COSTS)
    if form.systems == 1:
        return costs[None]
    own = _places_of(form.curves, form.rows)
    return costs[own[:, :, None], own[:, None]]


def _cost_of_matrix(normal: Array, form: CurveForm) -> Array:
    """The Schur complements: the cost of a change of M when all else is fitted again, (s, 6, 6)."""
    size = normal.shape[-1]
    at = BASIS if form.systems == 3 else form.matrix_at
    mine = np.arange(at, at + 6 // form.systems)
    rest = np.r_[0:at, mine[-1] + 1 : size]
    cross = normal[..., mine[:, None], rest]
    followed = solve_ridged(normal[..., rest[:, None], rest], cross.swapaxes(2, 3))
    own = normal[..., mine[:, None], mine] - cross @ followed
    costs: Array = np.zeros((len(normal), 6, 6))
    for system in range(form.systems):
        here = slice(system * len(mine), (system + 1) * len(mine))
        costs[:, here, here] = own[:, system]
    return costs
