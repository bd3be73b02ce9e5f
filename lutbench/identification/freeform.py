"""Source curve and matrix where the target is not known: any tone curve, any mixing after.

The model: Q·out = G(M·L), with L the light of the source, M a matrix that keeps
neutrals, G any rising curve in each channel, and Q any matrix that keeps
neutrals. G takes in the target's curve, a tone curve, exposure, a CDL's slope,
offset and power; the inverse of Q takes in saturation and what else mixes the
channels of the signal linearly. All are found by Gauss-Newton steps, G as a
cubic spline over the source's own signal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.linear import solve_ridged
from lutbench.fitting.robust import NORMAL_SPREAD, bisquare, masked_median
from lutbench.identification.curvebank import End
from lutbench.identification.gamutbank import GamutBank
from lutbench.identification.ground import (
    COLLAPSED,
    FEWEST,
    OTHERS,
    ROWS,
    Ground,
    Start,
    mixing_of,
)
from lutbench.identification.samples import CODES, Samples
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array

KNOTS = 22
BASIS = KNOTS + 3
"""Parameters of a curve of G."""

STEPS = 6
SETTLED = 2e-4
BETWEEN = 0.15
"""How far G is trusted between the neutral nodes, beside on them."""

ENOUGH = 12.0
"""So many values about a place of G and it is known there."""

MIXING_COSTS = 10.0
NOISE_OF_MEDIAN, NOISE_SPREAD = 1.155, 1.06
"""The root mean square of even noise over the median of its size (2/√3), and by how much a fit
that leaves nothing else may be over it.
"""

NO_TAIL = 1.5
"""The same for a sum of much noise (1.4826, a normal spread): a mixing sums that of channels."""

LEAST_FREEDOM = 0.05
UNSAID = 1e-9
"""The weight that keeps a matrix solvable."""

# How many sources go into each heat of the race, how many steps it takes, and on how many nodes.
HEATS = ((44, 1, 300), (22, 1, 300), (12, 2, 450), (6, STEPS, ROWS))
PART_HEATS = ((36, 1, 200), (18, 1, 200), (10, 2, 300), (4, STEPS, ROWS))
"""The same for a race on a part of the nodes."""

WIDE, WIDE_CODES, FEW = 2.0, 0.4, 12
"""Sources whose first fit leaves more than this many times the best, and codes, stay out of the
race but for a few: first fits on nodes near neutral tell little.
"""

# The free two of each row of M, and what they do to it.
_FREE = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])

# What the bending of G costs: next to nothing, but knots that no node sees stay in line.
_SECOND = np.diff(np.eye(BASIS), n=2, axis=0)
_BENDING = 1e-2 * _SECOND.T @ _SECOND + 1e-9 * np.eye(BASIS)


@dataclass(frozen=True)
class Form:
    """What a fit may use: a curve for each channel, a compression; `held` leaves M as it is."""

    tinted: bool = False
    held: bool = False
    compression: GamutCompression | None = None

    @property
    def curves(self) -> int:
        """How many curves G has."""
        return 3 if self.tinted else 1

    @property
    def rows(self) -> int:
        """How many of the free six of M a channel hangs on: its own row, or through a compression
        all of them.
        """
        if self.held:
            return 0
        return 2 if self.compression is None else 6

    @property
    def systems(self) -> int:
        """How many systems of equations a fit is: one for each channel where they share nothing."""
        return 3 if self.tinted and self.rows != 6 else 1

    @property
    def matrix_at(self) -> int:
        """Where the free six of M stand among all parameters, after the curves."""
        return self.curves * BASIS

    @property
    def mixing_at(self) -> int:
        """Where those of Q stand, the last six."""
        return self.matrix_at + (0 if self.held else 6)


@dataclass(frozen=True)
class FreeFit:
    """A fit of one source: see the module's words for M, Q and G.

    `error` is the root mean square in codes of the nodes that the fit keeps, their
    number less the parameters that they have to tell,
    `share` their part, `typical` the median over all. `seen` is how many nodes
    each knot of G rests on. `normal`, shape (6, 6),
    is the mean square error in codes² that a change of the free six of M costs
    when all else is fitted anew.
    """

    source: int
    form: Form
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
        """Whether what it leaves is spread as noise is: evenly, with no tail."""
        return self.error <= NOISE_SPREAD * NOISE_OF_MEDIAN * self.typical

    @property
    def no_tail(self) -> bool:
        """Whether what it leaves has no more of a tail than noise of many channels together."""
        return self.error <= NO_TAIL * self.typical

    def curve(self, values: Array) -> Array:
        """G: the de-mixed output of neutral full-scale input, shape (n, 3)."""
        assert self.knots is not None
        place, weights, _ = _basis(values, self.low, self.high)
        return np.stack([(weights * row[place]).sum(axis=0) for row in self.knots], axis=-1)

    def _rests(self, values: Array) -> Array:
        """Whether enough nodes lie near neutral full-scale input: 0 for none, 1 for enough."""
        assert self.seen is not None
        place, weights, _ = _basis(values, self.low, self.high)
        return np.asarray(np.minimum((weights * self.seen[place]).sum(axis=0) / ENOUGH, 1.0))

    def unmixed(self, outputs: Array) -> Array:
        """Q·out: what G gave, of full-scale outputs (n, 3)."""
        return np.asarray(outputs @ self.mixing.T)

    def free_curve(self, ground: Ground) -> tuple[Array, Array, Array]:
        """G at the neutral nodes, where the LUT itself gives it, and halfway between them.

        Inputs, outputs, and how far to trust each. Without a matrix no node
        lies between, so nothing is known there.
        """
        inputs, outputs = ground.neutral_in, self.unmixed(ground.neutral)
        if np.abs(self.matrix - np.eye(3)).max() < 1e-3:
            return inputs, outputs, np.ones(len(inputs))
        off = outputs - self.curve(inputs)
        halves = (inputs[:-1] + inputs[1:]) / 2
        between = self.curve(halves) + (off[:-1] + off[1:]) / 2
        places = np.concatenate([inputs, halves])
        order = np.argsort(places)
        trust = np.concatenate([np.ones(len(inputs)), BETWEEN * self._rests(halves)])
        return places[order], np.concatenate([outputs, between])[order], trust[order]


def race(
    ground: Ground,
    samples: Samples,
    sources: list[End],
    starts: Sequence[Start | None],
    heats: Sequence[tuple[int, int, int]] = HEATS,
) -> list[FreeFit]:
    """The fits of the sources that start well, in heats that drop the worse ones; best first."""
    began = [(start.error, i) for i, start in enumerate(starts) if start is not None]
    began.sort()
    fits: list[FreeFit] = []
    near = sum(error <= WIDE * began[0][0] + WIDE_CODES for error, _ in began)
    for _, i in began[: max(FEW, min(near, heats[0][0]))]:
        start = starts[i]
        assert start is not None
        fits.append(started(ground, Form(ground.tinted), i, start.matrix, start.mixing))
    for count, steps, rows in heats:
        fits = sorted(fits, key=lambda fit: fit.error)[:count]
        some = ground.thinned(rows)
        fits = settle_all(some, samples, sources, fits, steps)
    return sorted((fit for fit in fits if fit.knots is not None), key=lambda fit: fit.error)


def started(ground: Ground, form: Form, source: int, matrix: Array, mixing: Array) -> FreeFit:
    """A fit before its first step."""
    pad = 0.02 * (ground.high - ground.low)
    return FreeFit(source, form, matrix, mixing, ground.low - pad, ground.high + pad)


def settle(
    ground: Ground, samples: Samples, sources: list[End], fit: FreeFit, steps: int = STEPS
) -> FreeFit:
    """The fit after so many Gauss-Newton steps, or until it moves no more."""
    return settle_all(ground, samples, sources, [fit], steps)[0]


def settle_all(
    ground: Ground,
    samples: Samples,
    sources: list[End],
    fits: Sequence[FreeFit],
    steps: int = STEPS,
) -> list[FreeFit]:
    """Fits of one form, each after so many Gauss-Newton steps, or until it moves no more."""
    found = list(fits)
    last: dict[int, _Solved] = {}
    moving = list(range(len(found)))
    decoded = {fit.source: sources[fit.source].of_axis(samples.axis) for fit in fits}
    places = ground.axis_places.T
    for _ in range(steps):
        if not moving:
            break
        begun = [found[i] for i in moving]
        light_in = np.array([decoded[fit.source][places] for fit in begun])
        solved = _step(ground, [sources[fit.source] for fit in begun], light_in, begun)
        still = []
        for i, one in zip(moving, solved, strict=True):
            if one is None:
                continue
            change = float(np.abs(one.matrix - found[i].matrix).max())
            # A step on other nodes, or the first, says nothing of settling.
            settled = change < SETTLED and found[i].knots is not None
            found[i] = replace(
                found[i],
                matrix=one.matrix,
                mixing=one.mixing,
                knots=one.knots,
                settled=settled,
            )
            last[i] = one
            if not settled:
                still.append(i)
        moving = still
    for i, fit in enumerate(found):
        if fit.knots is None:
            found[i] = replace(fit, error=np.inf)
    measured = _measured([found[i] for i in last], list(last.values()))
    for i, fit in zip(last, measured, strict=True):
        found[i] = fit
    return found


def refitted(
    ground: Ground, samples: Samples, sources: list[End], fit: FreeFit, matrix: Array
) -> FreeFit:
    """G and Q anew with the matrix held to one that is given (its rows brought to sum one)."""
    rows = matrix / matrix.sum(axis=1, keepdims=True)
    form = replace(fit.form, held=True)
    return settle(ground, samples, sources, replace(fit, form=form, matrix=rows), 3)


def _step(
    ground: Ground, ends: Sequence[End], light_in: Array, fits: Sequence[FreeFit]
) -> list[_Solved | None]:
    """One Gauss-Newton step of fits of one form, with far rows weighed down.

    Arrays are (fits, channels, nodes), nodes last since there are most of them.
    """
    form = fits[0].form
    lights = np.array([fit.matrix for fit in fits]) @ light_in
    turns = None
    if form.compression:
        if form.rows:
            turns = _slopes_of(form.compression, lights)
        lights = np.moveaxis(form.compression.apply(np.moveaxis(lights, 1, -1)), -1, 1)
    near = [end.values_near(light) for end, light in zip(ends, lights, strict=True)]
    places, rises = (np.array(each) for each in zip(*near, strict=True))
    low, high = (
        np.array(each)[:, None, None]
        for each in zip(*((fit.low, fit.high) for fit in fits), strict=True)
    )
    seen: NDArray[np.bool_] = np.all(
        (places > low) & (places < high) & np.isfinite(rises) & (lights > 0), axis=1
    )
    place, weights, slopes = _basis(places, low, high)
    y = ground.outputs.T
    rest = np.empty((len(fits), 3, form.rows + 2, y.shape[1]))
    target = np.broadcast_to(y, (len(fits), *y.shape))
    if form.rows:
        rises = np.where(seen[:, None], rises, 0.0)
        channel = np.arange(3)[:, None]
        slope = np.empty_like(places)
        for i, fit in enumerate(fits):
            if fit.knots is None:
                slope[i] = ground.through_of(fit.mixing)[1].T
            else:
                slope[i] = (slopes[:, i] * fit.knots[channel, place[:, i]]).sum(axis=0)
        moves = (slope * rises)[:, :, None] * (_FREE.T @ light_in)[:, None]
        free = np.array([fit.matrix[:, :2] for fit in fits])
        of_matrix = rest[:, :, :-2]
        if turns is None:
            of_matrix[:] = moves
        else:
            for k in range(3):
                of_matrix[:, :, 2 * k : 2 * k + 2] = turns[:, :, k, None] * moves
            free = free.reshape(len(fits), 1, 6)
        target = target + (free[:, :, None] @ of_matrix)[:, :, 0]
    for c, others in enumerate(OTHERS):
        rest[:, c, -2:] = y[c] - y[others]
    return _solved(_Rows(place[0], weights * CODES, rest * CODES, target * CODES, seen), fits)


@dataclass(frozen=True)
class _Rows:
    """The rows of a system, one for each fit, channel and node, in codes.

    A row hangs on four knots of its curve from `cell` (s, 3, n) on, by `basis`
    (4, s, 3, n), and on what `rest` (s, 3, r, n) holds: of M, if that is free, and of its row of Q.
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
        """What each knot rests on, shape (s, 3, BASIS), of weights (s, 3, n)."""
        sums = np.zeros((*self.cell.shape[:2], BASIS))
        for i in range(4):
            sums[..., i : i + KNOTS] += self._by_cell(self.basis[i] * weight)
        return sums

    def products(self, weight: Array) -> tuple[Array, Array]:
        """The normal equations of each channel, (s, 3, k, k) and (s, 3, k), rows weighed.

        Four knots a row: summing by cells takes far less than the product of whole rows.
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
        """What a solution (s, 3, k) leaves of the target, shape (s, 3, n)."""
        fit, channel = np.arange(len(self.cell))[:, None, None], np.arange(3)[:, None]
        left = self.target - (solution[:, :, None, BASIS:] @ self.rest)[:, :, 0]
        for i in range(4):
            left -= solution[fit, channel, self.cell + i] * self.basis[i]
        return np.asarray(left)


def _slopes_of(compression: GamutCompression, lights: Array) -> Array:
    """How the compressed channels move with those before, (fits, after, before, nodes)."""
    channels_last = np.moveaxis(lights, 1, -1)
    reach = 1e-4 * np.maximum(np.abs(channels_last).max(axis=-1), 1e-6)
    columns = []
    for k in range(3):
        step = np.zeros_like(channels_last)
        step[..., k] = reach
        off = compression.apply(channels_last + step) - compression.apply(channels_last - step)
        columns.append(np.moveaxis(off / (2 * reach[..., None]), -1, 1))
    return np.stack(columns, axis=2)


@dataclass(frozen=True)
class _Solved:
    """What solves one step's systems of one fit, its rows' weights and what it leaves, (3, n).

    `normal` and `prior` hold those systems, (systems, k, k): see `Form.systems`.
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


def _measured(fits: Sequence[FreeFit], solved: Sequence[_Solved]) -> list[FreeFit]:
    """Fits of one form with how well they fit, and what each part of them rests on."""
    if not fits:
        return []
    form = fits[0].form
    weight = np.array([one.weight for one in solved])
    kept = weight.sum(axis=(1, 2))
    square = (weight * np.array([one.miss for one in solved]) ** 2).sum(axis=(1, 2))
    normal = np.array([one.normal for one in solved])
    # What the parameters take: with few nodes a free curve follows any of them.
    told = solve_ridged(normal, normal - np.array([one.prior for one in solved]))
    freedom = kept - np.trace(told, axis1=2, axis2=3).sum(axis=1)
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


def _solved(rows: _Rows, fits: Sequence[FreeFit]) -> list[_Solved | None]:
    """What solves the rows of each fit, far ones weighed down."""
    form = fits[0].form
    own = _places_of(form.curves, form.rows)
    prior = _prior(form)
    apart = form.systems == 3
    total = form.mixing_at + 6
    count = rows.seen.sum(axis=1)
    counted = np.broadcast_to(rows.seen[:, None], rows.target.shape)
    weight = counted.astype(np.float64)
    solution: Array = np.zeros((len(fits), total))
    normal, miss = prior, rows.target
    anew = any(fit.knots is None for fit in fits)
    for _ in range(3 if anew else 2):
        corners, sides = rows.products(weight)
        if apart:
            normal = corners + prior
            solution[:, own] = solve_ridged(normal, sides[..., None])[..., 0]
        else:
            # The channels share few parameters: each has its own corner of the system.
            normal, wanted = np.repeat(prior[None], len(fits), axis=0), np.zeros((len(fits), total))
            for c in range(3):
                normal[:, 0, own[c][:, None], own[c]] += corners[:, c]
                wanted[:, own[c]] += sides[:, c]
            solution = solve_ridged(normal[:, 0], wanted[..., None])[..., 0]
        miss = rows.missed(solution[:, own])
        scale = NORMAL_SPREAD * _typical(miss, counted) + 1e-4
        weight = bisquare(miss, 6 * scale[:, None, None]) * counted
    typical = _typical(miss, counted)
    rests = rows.by_knot(weight).sum(axis=1) / CODES
    found: list[_Solved | None] = []
    for i in range(len(fits)):
        mixing = mixing_of(solution[i, form.mixing_at :].reshape(3, 2))
        if count[i] < FEWEST // 2 or np.diag(mixing).min() < COLLAPSED:
            found.append(None)
            continue
        curves = solution[i, : form.matrix_at].reshape(form.curves, BASIS)
        knots = np.broadcast_to(curves, (3, BASIS))
        matrix = fits[i].matrix
        if form.rows:
            free = solution[i, form.matrix_at : form.mixing_at].reshape(3, 2)
            matrix = np.hstack([free, 1 - free.sum(axis=1, keepdims=True)])
        found.append(
            _Solved(
                matrix,
                mixing,
                knots,
                rests[i],
                weight[i],
                miss[i],
                normal[i],
                prior,
                float(typical[i]),
                3 * int(count[i]),
            )
        )
    return found


def _typical(miss: Array, counted: NDArray[np.bool_]) -> Array:
    """The median size of what counts of each fit, shape (fits,)."""
    rows = len(miss), -1
    return masked_median(np.abs(miss).reshape(rows), counted.reshape(rows))


@lru_cache(maxsize=16)
def _places_of(curves: int, rows: int) -> NDArray[np.int64]:
    """Where the parameters of a channel's rows stand among all, (3, k): its curve, of M, of Q."""
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


def _prior(form: Form) -> Array:
    """What the parameters cost by themselves, for each system of a fit."""
    costs = np.zeros((form.mixing_at + 6, form.mixing_at + 6))
    for c in range(form.curves):
        here = slice(c * BASIS, (c + 1) * BASIS)
        costs[here, here] = _BENDING
    others = np.arange(form.matrix_at, len(costs))
    # Next to nothing for M, so that nodes which say nothing of a row leave it where it is naught.
    costs[others, others] = np.where(others < form.mixing_at, UNSAID, MIXING_COSTS)
    if form.systems == 1:
        return costs[None]
    own = _places_of(form.curves, form.rows)
    return costs[own[:, :, None], own[:, None]]


def _cost_of_matrix(normal: Array, form: Form) -> Array:
    """The Schur complements: what a change of M costs when all else follows, (s, 6, 6)."""
    size = normal.shape[-1]
    at = BASIS if form.systems == 3 else form.matrix_at
    mine = np.arange(at, at + 6 // form.systems)
    rest = np.r_[0:at, mine[-1] + 1 : size]
    cross = normal[..., mine[:, None], rest]
    told = solve_ridged(normal[..., rest[:, None], rest], cross.swapaxes(2, 3))
    own = normal[..., mine[:, None], mine] - cross @ told
    costs: Array = np.zeros((len(normal), 6, 6))
    for system in range(form.systems):
        here = slice(system * len(mine), (system + 1) * len(mine))
        costs[:, here, here] = own[:, system]
    return costs


def _basis(
    u: Array, low: Array | float, high: Array | float
) -> tuple[NDArray[np.int64], Array, Array]:
    """Uniform cubic B-splines of u, (...): places, weights and their slopes, each (4, ...)."""
    t = np.clip((u - low) / (high - low) * KNOTS, 0, KNOTS - 1e-9)
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


def match_free(fit: FreeFit, bank: GamutBank) -> Array:
    """For each pair of the bank, the root mean square error in codes."""
    assert fit.normal is not None
    rows = bank.matrices / bank.matrices.sum(axis=2, keepdims=True)
    off = rows[:, :, :2].reshape(-1, 6) - fit.matrix[:, :2].reshape(6)
    extra = np.einsum("ij,ij->i", off @ fit.normal, off)
    return np.asarray(np.sqrt(np.maximum(extra, 0) + fit.error**2))
