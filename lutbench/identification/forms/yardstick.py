"""How well the names do beside free forms: what a free curve, and a free matrix, leave.

A name has to come up to what no name at all leaves: the source's curve bent freely and a
matrix that only keeps neutrals, in the same form. Where that explains the nodes much
better, the name is the nearest one and not the right one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.forms.fits import Form, FreeFit, fits_of
from lutbench.identification.forms.free import Model, moved, rows_to_one
from lutbench.identification.forms.nodes import Ground, Lights, Source
from lutbench.identification.forms.norms import NormModel
from lutbench.identification.forms.score import nats_of
from lutbench.identification.forms.search import sources_of
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.samples import Samples
from lutbench.model.curves.base import Decode
from lutbench.model.grade import CDL_WEIGHTS, Cdl, Saturation
from lutbench.model.transforms import Array, Matrix

BENDS = 9
"""Numbers that bend a curve freely."""

ROWS, STEPS, STEP = 300, 6, 1e-5
"""Nodes that are looked at, steps to the free form, and what a number is moved by to see."""

RIDGE, TINY = 1e-6, 1e-12
"""What keeps the bends of a curve that no node sees at none, as a share and at least."""

UNPAIRED, PAIRS = 12.0, 4
"""Nats from which a named pair of gamuts does not do, and pairs tried with a free curve."""

MOST_STEP, UNSEEN = 0.5, 1e3
"""A number moves by no more in a step; a node that nothing foretells misses by so many codes."""

BETTER = 0.75
"""The share of the values, the best ones, whose error is told."""

UNSATURATED = 1e-3
"""A CDL whose saturation is nearer to 1 mixes nothing."""


@dataclass(frozen=True)
class Held:
    """A free curve beside the matrix of a named pair of gamuts, and the nats that leaves."""

    pair: Pair
    nats: float
    error: float
    light: Array


@dataclass(frozen=True)
class Yardstick:
    """Nats of the nodes: with all names, with a free matrix, with a free curve too.

    `errors` are the same three in codes; `rivals` the nats of other sources in the same
    form. `grid` and `light` are the free curve, `matrix` the free matrix beside the name's
    curve, `bent_matrix` beside the free one. `held` is a free curve beside a named pair of
    gamuts, where the pair of the hypothesis does not do.
    """

    named: float
    free_matrix: float
    free_curve: float
    errors: tuple[float, float, float]
    rivals: tuple[tuple[End, float], ...]
    grid: Array
    light: Array
    matrix: Array
    bent_matrix: Array
    held: Held | None


def form_of(h: Hypothesis) -> Form:
    """The form that a hypothesis has."""
    if h.norm is not None:
        return Form(display=h.target_end, norm=h.norm)
    display = h.target_end if any(isinstance(step, Decode) for step in h.grade) else None
    mixed = any(
        isinstance(step, Matrix | Saturation)
        or (isinstance(step, Cdl) and abs(step.saturation - 1) > UNSATURATED)
        for step in h.grade
    )
    return Form(mixed, display, "", h.compression)


def measure(
    h: Hypothesis, samples: Samples, ground: Ground, knowledge: Knowledge, floor: float
) -> Yardstick:
    """The yardstick of a hypothesis."""
    sources = sources_of(knowledge)
    form, source = form_of(h), Source(h.source, h.rendering)
    model = form.model(ground.thinned(ROWS), [source])
    named = rows_to_one(h.matrix), _mixing_of(h)
    fits = fits_of(form, ground, samples, sources, floor)
    starts = [named, *((each.matrix, each.mixing) for each in fits if each.source == source)]
    # A step may lead astray: a free matrix never does worse than the one it began with.
    freed = [named, *(_refined(model, form, *start) for start in starts)]
    free = min(freed, key=lambda each: _size(_left(model, *each)))
    bent, bent_matrix, bent_mixing = _bent(model, form, *free)
    trials = [(model, *named), (model, *free), (bent, bent_matrix, bent_mixing)]
    left = [_left(each, m, q) for each, m, q in trials]
    nats = [float(nats_of(each.reshape(1, -1), floor)[0]) for each in left]
    errors = [_size(each) for each in left]
    return Yardstick(
        nats[0],
        nats[1],
        nats[2],
        (errors[0], errors[1], errors[2]),
        tuple((each.source.end, each.nats) for each in fits if _differs(each, source)),
        ground.grid,
        bent.lights.table[0],
        free[0],
        bent_matrix,
        _held(model, form, (bent_matrix, bent_mixing), knowledge.bank, floor)
        if nats[0] - nats[1] > UNPAIRED
        else None,
    )


def _held(
    model: Model | NormModel, form: Form, bent: tuple[Array, Array], bank: GamutBank, floor: float
) -> Held:
    """The pair of gamuts that a free curve explains the nodes best with."""
    apart = np.abs(rows_to_one(bank.matrices) - bent[0]).sum(axis=(1, 2))
    found = []
    for index in np.argsort(apart)[:PAIRS]:
        pair = bank.pair(int(index))
        told, m, q = _bent(model, form, rows_to_one(pair.matrix), bent[1], held=True)
        left = _left(told, m, q)
        nats = float(nats_of(left.reshape(1, -1), floor)[0])
        found.append(Held(pair, nats, _size(left), told.lights.table[0]))
    return min(found, key=lambda each: each.nats)


def _differs(fit: FreeFit, source: Source) -> bool:
    """Whether a fit has another source: another function, or another range of it."""
    one, other = fit.source.end, source.end
    return one.curve is not other.curve or one.range != other.range


def _left(model: Model | NormModel, matrix: Array, mixing: Array) -> Array:
    return model.misses(matrix[None], mixing[None])


def _size(misses: Array) -> float:
    """The root mean square of the better part, in codes."""
    sizes = np.sort(np.abs(misses[np.isfinite(misses)]))
    better = sizes[: max(1, int(BETTER * len(sizes)))]
    return float(np.sqrt(np.mean(better**2))) if len(sizes) else float("inf")


def _refined(
    model: Model | NormModel, form: Form, matrix: Array, mixing: Array
) -> tuple[Array, Array]:
    m, q, _ = model.refined(matrix[None], mixing[None], form.mixed, 4)
    return m[0], q[0]


def _bent(
    model: Model | NormModel, form: Form, matrix: Array, mixing: Array, *, held: bool = False
) -> tuple[Model | NormModel, Array, Array]:
    """The model with its light bent freely, M (unless it is `held`) and Q: what leaves least.

    By damped Gauss-Newton steps; far nodes are weighed down.
    """
    ground, lights = model.ground, model.lights
    basis = _basis(len(ground.grid))
    at_axis = np.stack([np.interp(ground.axis, ground.grid, each) for each in basis])
    at_nodes = at_axis[:, ground.places]
    count = BENDS + (12 if form.mixed else 6)

    def made(x: Array) -> tuple[Model | NormModel, Array, Array]:
        bend = x[:BENDS]
        table = np.maximum.accumulate(lights.table * np.exp(bend @ basis), axis=1)
        light = Lights(lights.nodes * np.exp(np.tensordot(bend, at_nodes, 1)), table)
        q = moved(mixing, x[BENDS + 6 :]) if form.mixed else mixing
        return replace(model, lights=light), moved(matrix, x[BENDS : BENDS + 6]), q

    def misses(x: Array) -> Array:
        return np.asarray(np.nan_to_num(_left(*made(x))[0], nan=UNSEEN))

    best = x = np.zeros(count)
    least, damp = np.inf, 1e-4
    for _ in range(STEPS):
        plain = misses(x)
        size = np.abs(plain).max(axis=1)
        error = float(np.quantile(size, 0.6))
        if error >= least:
            x, damp = best, damp * 10
            plain = misses(x)
            size = np.abs(plain).max(axis=1)
        else:
            best, least, damp = x, error, damp / 3
        soft = 1 / np.hypot(1, size / (2 * np.median(size) + 0.02))
        weight = np.where(size >= UNSEEN / 2, 0.0, soft)[:, None]
        moves = STEP * np.eye(count)
        free = [each for k, each in enumerate(moves) if not (held and BENDS <= k < BENDS + 6)]
        columns = [((plain - misses(x + each)) * weight).ravel() / STEP for each in free]
        slopes = np.stack(columns, axis=1)
        normal = slopes.T @ slopes
        normal += np.diag(damp * np.diag(normal) + RIDGE * np.trace(normal) + TINY)
        step = np.linalg.solve(normal, slopes.T @ (plain * weight).ravel())
        x = x + np.clip(step, -MOST_STEP, MOST_STEP) @ (np.array(free) / STEP)
    return made(best)


def _basis(size: int) -> Array:
    """Cubic B-splines over the grid, (BENDS, size)."""
    from scipy.interpolate import BSpline

    knots = np.concatenate([[0.0] * 3, np.linspace(0, 1, BENDS - 2), [1.0] * 3])
    return np.asarray(BSpline.design_matrix(np.linspace(0, 1, size), knots, 3).toarray().T)


def _mixing_of(h: Hypothesis) -> Array:
    """The matrix that mixes the channels after the curve."""
    weights = np.outer(np.ones(3), CDL_WEIGHTS)
    for step in h.grade:
        if isinstance(step, Matrix):
            return rows_to_one(step.array)
        if isinstance(step, Saturation | Cdl):
            amount = step.amount if isinstance(step, Saturation) else step.saturation
            return np.asarray(weights + amount * (np.eye(3) - weights))
    return np.eye(3)
