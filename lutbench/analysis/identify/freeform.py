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
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lutbench.analysis.identify.curvebank import End
from lutbench.analysis.identify.gamutbank import GamutBank
from lutbench.analysis.identify.ground import (
    COLLAPSED,
    FEWEST,
    OTHERS,
    ROWS,
    Ground,
    Start,
    mixing_of,
)
from lutbench.analysis.identify.samples import CODES, Samples
from lutbench.model.tone import GamutCompression
from lutbench.model.transforms import Array

KNOTS = 22
BASIS = KNOTS + 3
OWN = BASIS + 8
"""Parameters that the rows of one channel hang on: its curve, M, its row of Q."""

STEPS = 6
SETTLED = 2e-4
BETWEEN = 0.15
"""How far G is trusted between the neutral nodes, beside on them."""

ENOUGH = 12.0
"""So many values about a place of G and it is known there."""

MIXING_COSTS = 10.0
LEAST_FREEDOM = 0.05
HELD = 1e12
"""The weight that holds the matrix to one that is given."""

# How many sources go into each heat of the race, how many steps it takes, and on how many nodes.
HEATS = ((20, 2, 300), (10, 2, 450), (6, STEPS, ROWS))

# The free two of each row of M, and what they do to it.
_FREE = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])

# What the bending of G costs: next to nothing, but knots that no node sees stay in line.
_SECOND = np.diff(np.eye(BASIS), n=2, axis=0)
_BENDING = 1e-2 * _SECOND.T @ _SECOND + 1e-9 * np.eye(BASIS)


@dataclass(frozen=True)
class Form:
    """What a fit may use: a curve for each channel, a matrix that is given, a compression."""

    tinted: bool = False
    held: Array | None = None
    compression: GamutCompression | None = None

    @property
    def curves(self) -> int:
        """How many curves G has."""
        return 3 if self.tinted else 1


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
    ground: Ground, samples: Samples, sources: list[End], starts: Sequence[Start | None]
) -> list[FreeFit]:
    """The fits of the sources that start well, in heats that drop the worse ones; best first."""
    began = [(start.error, i) for i, start in enumerate(starts) if start is not None]
    began.sort()
    fits: list[FreeFit] = []
    for _, i in began[: HEATS[0][0]]:
        start = starts[i]
        assert start is not None
        fits.append(started(ground, Form(ground.tinted), i, start.matrix, start.mixing))
    for count, steps, rows in HEATS:
        fits = sorted(fits, key=lambda fit: fit.error)[:count]
        some = ground.thinned(rows)
        fits = [settle(some, samples, sources, fit, steps) for fit in fits]
    return sorted((fit for fit in fits if fit.knots is not None), key=lambda fit: fit.error)


def started(ground: Ground, form: Form, source: int, matrix: Array, mixing: Array) -> FreeFit:
    """A fit before its first step."""
    pad = 0.02 * (ground.high - ground.low)
    return FreeFit(source, form, matrix, mixing, ground.low - pad, ground.high + pad)


def settle(
    ground: Ground, samples: Samples, sources: list[End], fit: FreeFit, steps: int = STEPS
) -> FreeFit:
    """The fit after so many Gauss-Newton steps, or until it moves no more."""
    source = sources[fit.source]
    light_in = source.decode(samples.axis)[ground.axis_places]
    last: _Solved | None = None
    for _ in range(steps):
        solved = _step(ground, source, light_in, fit)
        if solved is None:
            break
        change = float(np.abs(solved.matrix - fit.matrix).max())
        # A step on other nodes, or the first, says nothing of settling.
        settled = change < SETTLED and fit.knots is not None
        fit = replace(
            fit,
            matrix=solved.matrix,
            mixing=solved.mixing,
            knots=solved.knots,
            settled=settled,
        )
        last = solved
        if settled:
            break
    if last is None:
        return fit if fit.knots is not None else replace(fit, error=np.inf)
    return last.measured(fit)


def refitted(
    ground: Ground, samples: Samples, sources: list[End], fit: FreeFit, matrix: Array
) -> FreeFit:
    """G and Q anew with the matrix held to one that is given (its rows brought to sum one)."""
    rows = matrix / matrix.sum(axis=1, keepdims=True)
    form = replace(fit.form, held=rows)
    return settle(ground, samples, sources, replace(fit, form=form, matrix=rows), 3)


def _step(ground: Ground, source: End, light_in: Array, fit: FreeFit) -> _Solved | None:
    """One Gauss-Newton step, with far rows weighed down."""
    form = fit.form
    lights = light_in @ fit.matrix.T
    turns = None
    if form.compression:
        turns = _slopes_of(form.compression, lights)
        lights = form.compression.apply(lights)
    places, rises = source.values_near(lights)
    fits = (places > fit.low) & (places < fit.high) & np.isfinite(rises) & (lights > 0)
    seen: NDArray[np.bool_] = np.all(fits, axis=1)
    if seen.sum() < FEWEST // 2:
        return None
    y, light_seen = ground.outputs[seen], light_in[seen]
    slopes_of_axis = ground.through_of(fit.mixing)[1][seen] if fit.knots is None else None
    count = int(seen.sum())
    nodes = np.arange(count)
    # Nodes last: there are most of them.
    block = np.zeros((3, OWN, count))
    target = np.empty((3, count))
    for c in range(3):
        place, weights, slopes = _basis(places[seen, c], fit.low, fit.high)
        block[c, place, nodes] = weights
        if slopes_of_axis is not None:
            slope = slopes_of_axis[:, c]
        else:
            assert fit.knots is not None
            slope = (slopes * fit.knots[c][place]).sum(axis=0)
        moves = slope * rises[seen, c] * (_FREE.T @ light_seen.T)
        for k in range(3):
            here = BASIS + 2 * k
            if turns is not None:
                block[c, here : here + 2] = turns[seen, c, k] * moves
            elif k == c:
                block[c, here : here + 2] = moves
        target[c] = y[:, c] + fit.matrix[:, :2].reshape(6) @ block[c, BASIS : BASIS + 6]
        block[c, BASIS + 6 :] = (y[:, [c]] - y[:, OTHERS[c]]).T
    block *= CODES
    return _solved(block, target * CODES, fit)


def _slopes_of(compression: GamutCompression, lights: Array) -> Array:
    """How the compressed channels (first) move with those before (second), shape (n, 3, 3)."""
    reach = 1e-4 * np.maximum(np.abs(lights).max(axis=1), 1e-6)
    columns = []
    for k in range(3):
        step = np.zeros_like(lights)
        step[:, k] = reach
        off = compression.apply(lights + step) - compression.apply(lights - step)
        columns.append(off / (2 * reach[:, None]))
    return np.stack(columns, axis=2)


@dataclass(frozen=True)
class _Solved:
    """One step's system and what solves it; `a` holds the rows of each channel, (3, OWN, n)."""

    matrix: Array
    mixing: Array
    knots: Array
    a: Array
    weight: Array
    miss: Array
    normal: Array
    prior: Array

    def measured(self, fit: FreeFit) -> FreeFit:
        """The fit with how well it fits, and what each part of it rests on."""
        kept = float(self.weight.sum())
        # What the parameters take: with few nodes a free curve follows any of them.
        taken = float(np.trace(np.linalg.solve(self.normal, self.normal - self.prior)))
        freedom = max(kept - taken, LEAST_FREEDOM * kept, 1e-9)
        rests = np.abs(self.a[:, :BASIS]) @ self.weight[:, :, None]
        at = fit.form.curves * BASIS
        return replace(
            fit,
            seen=rests.sum(axis=0)[:, 0] / CODES,
            error=float(np.sqrt((self.weight * self.miss**2).sum() / freedom)),
            typical=float(np.median(np.abs(self.miss))),
            share=kept / self.miss.size,
            normal=_cost_of_matrix(self.normal, at) / kept if fit.form.held is None else fit.normal,
        )


def _solved(a: Array, b: Array, fit: FreeFit) -> _Solved | None:
    """What solves the rows of each channel, a (3, OWN, n) and b (3, n), far ones weighed down."""
    form = fit.form
    at = form.curves * BASIS
    prior, right = _prior(form, at + 12)
    own = [_places_of(form.tinted, c) for c in range(3)]
    corner = [np.ix_(each, each) for each in own]
    weight: Array = np.ones(b.shape)
    normal: Array = prior
    solution: Array = np.zeros(at + 12)
    miss = b
    turned = a.swapaxes(1, 2)
    for turn in range(3 if fit.knots is None else 2):
        normal, wanted = prior.copy(), right.copy()
        # The channels share few parameters: each has its own corner of the system.
        weighed = a * weight[:, None] if turn else a
        corners, sides = weighed @ turned, (weighed @ b[:, :, None])[:, :, 0]
        for c in range(3):
            normal[corner[c]] += corners[c]
            wanted[own[c]] += sides[c]
        try:
            solution = np.asarray(np.linalg.solve(normal, wanted))
        except np.linalg.LinAlgError:
            return None
        miss = np.stack([b[c] - solution[own[c]] @ a[c] for c in range(3)])
        scale = 1.4826 * float(np.median(np.abs(miss))) + 1e-4
        weight = np.clip(1 - (miss / (6 * scale)) ** 2, 0, None) ** 2
    mixing = mixing_of(solution[at + 6 : at + 12].reshape(3, 2))
    if np.diag(mixing).min() < COLLAPSED:
        return None
    free = solution[at : at + 6].reshape(3, 2)
    knots = solution[:at].reshape(form.curves, BASIS)
    matrix = np.hstack([free, 1 - free.sum(axis=1, keepdims=True)])
    return _Solved(
        matrix, mixing, np.broadcast_to(knots, (3, BASIS)), a, weight, miss, normal, prior
    )


@lru_cache(maxsize=8)
def _places_of(tinted: bool, channel: int) -> NDArray[np.int64]:
    """Where the parameters of a channel's rows stand among all: its curve, M, its row of Q."""
    at = 3 * BASIS if tinted else BASIS
    first = channel * BASIS if tinted else 0
    mixing = at + 6 + 2 * channel
    return np.asarray(np.r_[first : first + BASIS, at : at + 6, mixing : mixing + 2])


def _prior(form: Form, total: int) -> tuple[Array, Array]:
    """What the parameters cost by themselves, and where that pulls them."""
    at = form.curves * BASIS
    prior, right = np.zeros((total, total)), np.zeros(total)
    for c in range(form.curves):
        here = slice(c * BASIS, (c + 1) * BASIS)
        prior[here, here] = _BENDING
    others = np.arange(at + 6, total)
    prior[others, others] = MIXING_COSTS
    if form.held is not None:
        free = np.arange(at, at + 6)
        prior[free, free] = HELD
        right[free] = HELD * form.held[:, :2].reshape(6)
    return prior, right


def _cost_of_matrix(normal: Array, at: int) -> Array:
    """The Schur complement: what a change of M costs when all else follows."""
    mine = slice(at, at + 6)
    rest = np.r_[0:at, at + 6 : len(normal)]
    cross = normal[mine][:, rest]
    return np.asarray(
        normal[mine, mine] - cross @ np.linalg.solve(normal[np.ix_(rest, rest)], cross.T)
    )


def _basis(u: Array, low: float, high: float) -> tuple[NDArray[np.int64], Array, Array]:
    """Uniform cubic B-splines: places (4, n), weights (4, n) and their slopes."""
    t = np.clip((u - low) / (high - low) * KNOTS, 0, KNOTS - 1e-9)
    cell = t.astype(np.int64)
    x = t - cell
    rest, square = 1 - x, x * x
    weights = np.empty((4, len(x)))
    weights[0] = rest * rest * rest / 6
    weights[3] = square * x / 6
    weights[1] = 2 / 3 - square + 3 * weights[3]
    weights[2] = 1 - weights[0] - weights[1] - weights[3]
    slopes = np.empty((4, len(x)))
    slopes[0] = -rest * rest / 2
    slopes[3] = square / 2
    slopes[1] = 3 * slopes[3] - 2 * x
    slopes[2] = -slopes[0] - slopes[1] - slopes[3]
    slopes *= KNOTS / (high - low)
    return cell + np.arange(4)[:, None], weights, slopes


def match_free(fit: FreeFit, bank: GamutBank) -> Array:
    """For each pair of the bank, the root mean square error in codes."""
    assert fit.normal is not None
    rows = bank.matrices / bank.matrices.sum(axis=2, keepdims=True)
    off = rows[:, :, :2].reshape(-1, 6) - fit.matrix[:, :2].reshape(6)
    extra = np.einsum("ij,ij->i", off @ fit.normal, off)
    return np.asarray(np.sqrt(np.maximum(extra, 0) + fit.error**2))
