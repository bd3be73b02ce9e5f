"""Comparison of names with free forms: the errors of a free curve and of a free matrix.

A name must fit nearly as well as no name: the source's curve bent freely and a matrix that only
keeps neutrals, in the same form. Where those explain the nodes much better, the name is
probably only the nearest one, not the right one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.identification.common import ROWS, STEPS
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.forms.bends import Bending, Bent, bent
from lutbench.identification.forms.fits import After, Form, FreeFit
from lutbench.identification.forms.fitted import Fitted
from lutbench.identification.forms.free import Model, rows_to_one
from lutbench.identification.forms.looks import SmoothLook
from lutbench.identification.forms.nodes import Ground, Source
from lutbench.identification.forms.norms import NormModel
from lutbench.identification.forms.score import nats_of
from lutbench.identification.gamutbank import Pair
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.lightsteps import AFTER, Paling
from lutbench.identification.ordering import best_first
from lutbench.identification.samples import CODES
from lutbench.model.curves.base import MID_GREY, Decode
from lutbench.model.grade import CDL_WEIGHTS, Cdl, Saturation
from lutbench.model.transforms import Array, Matrix

BENDS = 9
"""Numbers that bend a curve freely."""

UNPAIRED = 12.0
"""Nats of lead of a free matrix from which a named pair of gamuts is rejected."""

PAIRS = 4
"""Pairs of gamuts that are tried with a free curve."""

BETTER = 0.75
"""The share of the values, the best ones, over which the error is taken."""

EXPLAINED = 2.0
"""Times what the nodes are uncertain by, up to which names by themselves explain them."""

UNSATURATED = 1e-3
"""The largest difference from 1 of a CDL's saturation that counts as no mixing."""


@dataclass(frozen=True)
class Held:
    """A free curve with the matrix of a named pair of gamuts, its nats and its error."""

    pair: Pair
    nats: float
    error: float


@dataclass(frozen=True)
class Yardstick:
    """Nats of the nodes: with all names, with a free matrix, with a free curve too.

    `errors` are the same three in codes; `rivals` the nats of other sources in the same
    form. `matrix` is the free matrix beside the name's curve, `loose` the free curve with its
    matrix. `held` is a free curve beside a named pair of gamuts, where the pair of the
    hypothesis does not do.
    """

    named: float
    free_matrix: float
    free_curve: float
    errors: tuple[float, float, float]
    rivals: tuple[tuple[End, float], ...]
    matrix: Array
    loose: Bent
    held: Held | None


def form_of(h: Hypothesis) -> Form:
    """The form that a hypothesis has."""
    if h.norm is not None:
        return Form(display=h.target_end, norm=h.norm)
    if any(isinstance(step, SmoothLook) for step in h.grade):
        return Form(look=True)
    display = h.target_end if any(isinstance(step, Decode) for step in h.grade) else None
    mixed = any(
        isinstance(step, Matrix | Saturation)
        or (isinstance(step, Cdl) and abs(step.saturation - 1) > UNSATURATED)
        for step in h.grade
    )
    if not np.ptp(_mixing_of(h), axis=0).any():
        return Form(mono=True)
    step = next((step for step in h.grade if isinstance(step, AFTER)), None)
    after = None if step is None else After(step, *scale_of(h.target.range))
    before = h.compression.about(MID_GREY) if isinstance(h.compression, Paling) else h.compression
    return Form(mixed, display, None, before, after=after)


def measure(h: Hypothesis, ground: Ground, fitted: Fitted) -> Yardstick:
    """The yardstick of a hypothesis."""
    floor = fitted.floor
    form, source = form_of(h), Source(h.source, h.rendering)
    model = form.model(ground.thinned(ROWS), [source])
    named = rows_to_one(h.matrix), _mixing_of(h)
    fits = fitted.of(form)
    starts = [named, *((each.matrix, each.mixing) for each in fits if each.source == source)]
    # A step may make the fit worse: the start stays among the candidates.
    freed = [named, *(_refined(model, form, *start) for start in starts)]
    free = min(freed, key=lambda each: size_of(_left(model, *each)))
    loose = bent(Bent(model, *free), Bending(BENDS, STEPS, form.mixed, look=form.look))
    # A clip between the steps is no part of a form, so names may explain all by themselves.
    alone = [own for own in [_own(h, model.ground)] if size_of(own) <= EXPLAINED * floor]
    best = min([_left(model, *named), *alone], key=lambda each: _nats(each, floor))
    left = [best, _left(model, *free), loose.misses()]
    nats = [_nats(each, floor) for each in left]
    errors = [size_of(each) for each in left]
    return Yardstick(
        nats[0],
        nats[1],
        nats[2],
        (errors[0], errors[1], errors[2]),
        tuple((each.source.end, each.nats) for each in fits if _differs(each, source)),
        free[0],
        loose,
        best_pair(loose, model, form, fitted) if nats[0] - nats[1] > UNPAIRED else None,
    )


def best_pair(loose: Bent, model: Model | NormModel, form: Form, fitted: Fitted) -> Held:
    """The pair of gamuts with which a free curve explains the nodes best."""
    bank, floor = fitted.knowledge.bank, fitted.floor
    apart = np.abs(rows_to_one(bank.matrices) - loose.matrix).sum(axis=(1, 2))
    found = []
    for index in best_first(apart)[:PAIRS]:
        pair = bank.pair(int(index))
        start = Bent(model, rows_to_one(pair.matrix), loose.mixing)
        told = bent(start, Bending(BENDS, STEPS, form.mixed, held=True, look=form.look))
        left = told.misses()
        found.append(Held(pair, _nats(left, floor), size_of(left)))
    return min(found, key=lambda each: each.nats)


def _differs(fit: FreeFit, source: Source) -> bool:
    """Whether a fit has another source: another function, or another range of it."""
    one, other = fit.source.end, source.end
    return one.curve is not other.curve or one.range != other.range


def _own(h: Hypothesis, ground: Ground) -> Array:
    """What a hypothesis itself leaves at the nodes, in codes."""
    return (ground.outputs - h.apply(ground.axis[ground.places])) * CODES


def _nats(misses: Array, floor: float) -> float:
    return float(nats_of(misses.reshape(1, -1), floor)[0])


def _left(model: Model | NormModel, matrix: Array, mixing: Array) -> Array:
    return model.misses(matrix[None], mixing[None])


def size_of(misses: Array) -> float:
    """The root mean square of the better part, in codes."""
    sizes = np.sort(np.abs(misses[np.isfinite(misses)]))
    better = sizes[: max(1, int(BETTER * len(sizes)))]
    return float(np.sqrt(np.mean(better**2))) if len(sizes) else float("inf")


def _refined(
    model: Model | NormModel, form: Form, matrix: Array, mixing: Array
) -> tuple[Array, Array]:
    m, q, _ = model.refined(matrix[None], mixing[None], form.mixed, 4)
    return m[0], q[0]


def _mixing_of(h: Hypothesis) -> Array:
    """The matrix that mixes the channels after the curve; of a look its numbers."""
    look = next((step for step in h.grade if isinstance(step, SmoothLook)), None)
    if look is not None:
        return np.array(look.numbers)
    weights = np.outer(np.ones(3), CDL_WEIGHTS)
    for step in h.grade:
        if isinstance(step, Matrix):
            return rows_to_one(step.array)
        if isinstance(step, Saturation | Cdl):
            amount = step.amount if isinstance(step, Saturation) else step.saturation
            return np.asarray(weights + amount * (np.eye(3) - weights))
    return np.eye(3)
