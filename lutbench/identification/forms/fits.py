"""The forms of a free fit, and the best sources in each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import islice

import numpy as np

from lutbench.identification.carriers import POWERS, Carrier, SoftMaximum
from lutbench.identification.curvebank import End
from lutbench.identification.forms.free import Model, light_space, moved, signal_space, typical
from lutbench.identification.forms.kinds import free_numbers
from lutbench.identification.forms.looks import NUMBERS, LookModel
from lutbench.identification.forms.mono import LumaModel
from lutbench.identification.forms.nodes import Ground, Lights, Lit, Source, lights_of
from lutbench.identification.forms.norms import NormModel
from lutbench.identification.forms.score import INDEPENDENT, nats_of
from lutbench.identification.lightsteps import LumaTint, Paling
from lutbench.identification.ordering import best_first
from lutbench.identification.samples import CODES, Samples
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array, Transform

SATURATIONS = (1.0, 0.8, 1.25)
"""Saturations that the second matrix is first assumed to be."""

SCREENED = 150
"""Nodes for first fits of all sources."""

FITTED = 400
"""Nodes for the fits of the sources that are kept."""

GLANCED = 60
"""Nodes for the decision whether a form is worth fitting."""

PEEKED, PEEK = 24, 2.5
"""Nodes on which many forms are first told apart, and how many times what it leaves on more a form
may leave there. Fewer nodes are easier to fit: of 21 forms that were worth fitting, among 1 656 on
42 LUTs, none left more there than may be left.
"""

KEPT = 14
"""Sources kept after first fits, on nodes near neutral and on all."""

FOLLOWED = 16
"""Fits that go on after a few steps."""

SETTLED = 4
"""Further steps, after which a fit hardly changes."""

PART = 0.25
"""The least share of the nodes that a look on some of the colours leaves alone."""

ENOUGH = 0.2
"""10-bit codes of error up to which no other form is tried."""

FACTOR = 1.5
"""By which the power of a soft maximum may differ from the one that it is looked for from."""

PRECISE = 0.01
"""How precisely it is found; most makers take a whole number, which is tried too."""

HOLD = 1e-4
"""The weight that holds the matrices of a first fit: near neutral only their product shows."""


@dataclass(frozen=True)
class After:
    """A step on the signal after the curve, in a range with full-scale values `low` and `span`."""

    step: Transform
    low: float
    span: float

    def undone(self, outputs: Array) -> Array:
        """Full-scale outputs before it."""
        return self.low + self.span * self.step.inverse().apply((outputs - self.low) / self.span)

    def greys(self, outputs: Array) -> Array:
        """Greys before it: the other steps leave them alone."""
        return self.undone(outputs) if isinstance(self.step, LumaTint) else outputs


@dataclass(frozen=True)
class Form:
    """What is free in a fit, and the steps between the first matrix and the output.

    `mixed` frees a second matrix, in the signal or in the light of a `display`. `norm` is
    what a tone curve acts on, where it is not each channel. A `compression` of the gamut, or
    another step on light, comes before the curve.
    """

    mixed: bool = False
    display: End | None = None
    norm: Carrier | None = None
    compression: Transform | None = None
    mono: bool = False
    """Whether only luma of the signal comes out."""
    look: bool = False
    """Whether a smooth look replaces the second matrix."""
    after: After | None = None

    @property
    def extra(self) -> int:
        """The free numbers of the second matrix, or of a look."""
        return NUMBERS if self.look else 6 * self.mixed

    @property
    def parameters(self) -> int:
        """The free numbers of a fit, a name of the form counted as one."""
        after = None if self.after is None else self.after.step
        steps = free_numbers(self.compression) + free_numbers(after)
        return 6 + self.extra + bool(self.norm) + steps

    def changed(self, mixing: Array, step: Array) -> Array:
        """A second matrix, or a look, with its free numbers moved."""
        return mixing + step if self.look else moved(mixing, step) if self.mixed else mixing

    def model(self, ground: Ground, sources: Sequence[Source]) -> Model | NormModel:
        """The model of some sources on some nodes."""
        return self.model_of(ground, lights_of(ground, sources))

    def model_of(self, ground: Ground, lights: Lights) -> Model | NormModel:
        """The model of some light."""
        along = ground.mixing() if self.mixed or self.mono else ground
        space = light_space(along, self.display) if self.display else signal_space(along)
        if self.after is not None:
            outputs = self.after.undone(space.outputs)
            space = replace(space, outputs=outputs, neutral=self.after.greys(space.neutral))
        if self.norm:
            return NormModel(ground, lights, space, self.norm)
        if self.look:
            return LookModel(ground, lights, space)
        if self.mono:
            return LumaModel(ground, lights, space)
        levelled = lights.level() if isinstance(self.compression, Paling) else lights
        return Model(ground, levelled, space, self.compression)


@dataclass(frozen=True)
class FreeFit:
    """A source with the M and Q that explain the nodes best, in one form of what comes after.

    `error` is a quantile in codes, see `free.typical`; `nats` are those of `score`.
    """

    source: Source
    matrix: Array
    mixing: Array
    form: Form
    error: float
    nats: float
    samples: Samples
    ground: Ground

    @property
    def partly(self) -> float:
        """The error in codes that a quarter of the nodes keep to: a look may change the others."""
        model = self.form.model(self.ground.thinned(FITTED), [self.source])
        return float(typical(model.misses(self.matrix[None], self.mixing[None]), PART)[0])

    def compression(self, stops: float) -> Transform | None:
        """The step on light, for light of the source with an exposure."""
        step = self.form.compression
        if not isinstance(step, Paling):
            return step
        return step.about(float(lights_of(self.ground, [self.source]).middle[0]) * 2.0**stops)


def fits_of(form: Form, lit: Lit, samples: Samples, floor: float) -> list[FreeFit]:
    """The best sources of a form, best first."""
    starts = [
        start
        for part in (lit.near(), lit)
        for start in islice(_first(form, part.thinned(SCREENED)), KEPT)
    ]
    if not starts:
        return []
    rows, matrix, mixing, _ = (np.array(each) for each in zip(*starts, strict=True))
    some, sources, ground = lit.thinned(FITTED), lit.sources, lit.ground
    model = form.model_of(some.ground, some.lights.only(rows))
    matrix, mixing, error = model.refined(matrix, mixing, form.mixed, 2)
    keep = np.argsort(error)[:FOLLOWED]
    rows, matrix, mixing = rows[keep], matrix[keep], mixing[keep]
    model = form.model_of(some.ground, some.lights.only(rows))
    matrix, mixing, _ = model.refined(matrix, mixing, form.mixed, SETTLED)
    misses = model.misses(matrix, mixing)
    error = typical(misses)
    nats = nats_of(misses.reshape(len(misses), -1), floor)
    nats += 0.5 * form.parameters * np.log(INDEPENDENT)
    best: dict[int, FreeFit] = {}
    for k in best_first(nats):
        fit = FreeFit(
            sources[int(rows[k])],
            matrix[k],
            mixing[k],
            form,
            float(error[k]),
            float(nats[k]),
            samples,
            ground,
        )
        best.setdefault(int(rows[k]), fit)
    return list(best.values())


class Glances:
    """What the best source of each form leaves in codes on a few nodes, told once."""

    def __init__(self, lit: Lit) -> None:
        few, fewest = lit.thinned(GLANCED), lit.thinned(PEEKED)
        self.error: Callable[[Form], float] = cache(partial(glance, few=few))
        self._peek: Callable[[Form], float] = cache(partial(peek, fewest=fewest))

    def best(self, count: int, forms: Sequence[Form], limit: float) -> list[tuple[float, Form]]:
        """The forms that leave least, with what they leave: `count` at most, none above `limit`."""
        many = len(forms) > count
        order = sorted(forms, key=self._peek) if many else forms
        found: list[tuple[float, int]] = []
        for form in order:
            worst = limit if len(found) < count else min(limit, found[-1][0])
            if many and self._peek(form) > PEEK * worst:
                break
            found = sorted([*found, (self.error(form), forms.index(form))])[:count]
        return [(left, forms[place]) for left, place in found if left <= limit]

    def tuned(self, forms: Sequence[Form]) -> Form:
        """The best of forms on a soft maximum, with the power that explains the nodes best."""
        from scipy.optimize import minimize_scalar

        near = sorted(forms, key=self._peek)[: len(forms) // len(POWERS)]
        best = min(near, key=self.error)
        assert isinstance(best.norm, SoftMaximum)
        first = best.norm.power

        def of(power: float) -> Form:
            return replace(best, norm=SoftMaximum(power))

        found = minimize_scalar(
            lambda power: min(self.error(of(float(power))), CODES),
            bounds=(first / FACTOR, first * FACTOR),
            method="bounded",
            options={"xatol": PRECISE},
        )
        exact, whole = of(float(found.x)), of(float(round(found.x)))
        return whole if self.error(whole) <= self.error(exact) + ENOUGH else exact


def glance(form: Form, few: Lit) -> float:
    """The error of the best source in codes on a few of the nodes, which it is fitted to."""
    starts = list(islice(_first(form, few), KEPT))
    if not starts:
        return np.inf
    if form.norm:
        return starts[0][3]  # linear, so that nothing is left to refine
    rows, matrix, mixing, _ = (np.array(each) for each in zip(*starts, strict=True))
    model = form.model_of(few.ground, few.lights.only(rows))
    matrix, mixing, _ = model.refined(matrix, mixing, form.mixed, SETTLED)
    return float(typical(model.misses(matrix, mixing)).min())


def peek(form: Form, fewest: Lit) -> float:
    """The error of the best source in codes after a first fit to the fewest nodes."""
    return next((start[3] for start in _first(form, fewest)), np.inf)


def _first(form: Form, part: Lit) -> Iterator[tuple[int, Array, Array, float]]:
    """The sources that fit a part of the nodes best: which, M, Q, and the error in codes.

    All are refined: a linear fit assumes a saturation, which says little of a source under another
    matrix.
    """
    count = len(part.sources)
    if form.look:
        plain = Form().model_of(part.ground, part.lights)
        matrix = plain.first(np.eye(3))
        looked = LookModel(part.ground, plain.lights, signal_space(part.ground))
        numbers = np.zeros((count, NUMBERS))
        matrix, numbers, error = looked.refined(matrix, numbers, True, 2)
        for k in _best_first(error, part):
            yield k, matrix[k], numbers[k], float(error[k])
        return
    model = form.model_of(part.ground, part.lights)
    error = np.full(count, np.inf)
    matrix = np.broadcast_to(np.eye(3), (count, 3, 3)).copy()
    mixing = matrix.copy()
    # What acts on a norm is fitted in one step.
    alone = (0.0,) if form.mono else (1.0,)
    for amount in () if form.norm else SATURATIONS if form.mixed else alone:
        q = amount * np.eye(3) + (1 - amount) * np.outer(np.ones(3), CDL_WEIGHTS)
        m = model.first(q)
        off = typical(model.misses(m, np.broadcast_to(q, m.shape)))
        better = off < error
        error = np.where(better, off, error)
        matrix[better], mixing[better] = m[better], q
    steps = 3 if form.mixed else 1
    matrix, mixing, error = model.refined(matrix, mixing, form.mixed, steps, HOLD)
    for k in _best_first(error, part):
        yield k, matrix[k], mixing[k], float(error[k])


def _best_first(error: Array, part: Lit) -> Iterator[int]:
    """The sources with an error, the least first; of displays that show one end only the best."""
    seen: set[End] = set()
    for k in np.argsort(error):
        source = part.sources[k]
        if error[k] >= CODES or (source.rendering is not None and source.end in seen):
            continue
        if source.rendering is not None:
            seen.add(source.end)
        yield int(k)
