"""A step on light with numbers of its own: fitted together with the matrix before it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import EARNED, STEP, TINY
from lutbench.identification.curvebank import scale_of
from lutbench.identification.forms.fits import ENOUGH, FITTED, SCREENED, After, Form
from lutbench.identification.forms.free import Model, by_entries, largest, moved, signal_space
from lutbench.identification.forms.kinds import KINDS, StepKind
from lutbench.identification.forms.nodes import Lit
from lutbench.identification.forms.score import nats_of
from lutbench.identification.samples import CODES, range_seen
from lutbench.model.transforms import Array

if TYPE_CHECKING:
    from lutbench.identification.forms.fitted import Fitted

SOURCES = 16
"""Sources whose numbers are fitted in a round, on few nodes."""

FOLLOWED = 2
"""Of these, the ones that are fitted on more."""

GLANCES = 8
"""Steps of a first fit."""

STEPS = 12
"""Steps of the last one."""

ROUNDS = 4
"""Rounds at most: most LUTs need two."""

UNSEEN = 100.0
"""10-bit codes of error of a node without prediction, and the most that counts."""

SLIGHT = 2.0
"""10-bit codes up to which an error counts by its square; a larger one counts less."""

SMALL = 0.01
"""A small change of an entry of the matrix."""

FIRM = 1e-3
"""The damping of a first step, as a share of the mean slope."""

FIRMER = 4.0
"""Times the damping after a step that explains less, and the other way round."""


@dataclass(frozen=True)
class _Fits:
    """Sources (their rows), matrices (s, 3, 3), numbers (s, k) and the nats of each (s,)."""

    rows: NDArray[np.int64]
    matrix: Array
    numbers: Array
    nats: Array

    def at(self, numbers: Array) -> _Fits:
        """These with other numbers."""
        return replace(self, numbers=np.repeat(numbers[None], len(self.rows), axis=0))

    def best(self, count: int) -> _Fits:
        """The ones that explain most."""
        kept = np.argsort(self.nats, kind="stable")[:count]
        return _Fits(self.rows[kept], self.matrix[kept], self.numbers[kept], self.nats[kept])


def stepped_form(fitted: Fitted) -> Form | None:
    """The form with the step that explains the nodes best; None where no kind stands out.

    With given numbers all sources are fitted at once, and for a given source the numbers: in
    turn, until neither changes.
    """
    if fitted.lit is None:
        return None
    with np.errstate(all="ignore"):  # light that no picture has
        return _form(fitted, fitted.lit)


def _form(fitted: Fitted, lit: Lit) -> Form | None:
    fit = _Fitting(fitted, lit, scale_of(range_seen(fitted.samples) or "full"))
    begun = [(kind, fit.begun(kind, None, kind.table[0])) for kind in KINDS]
    begun = [(kind, found) for kind, found in begun if len(found.nats)]
    begun.sort(key=lambda each: float(each[1].nats[0]))
    if len(begun) < 2 or begun[0][1].nats[0] > begun[1][1].nats[0] - EARNED:
        return None
    kind, found = begun[0]
    form, before = None, np.inf
    for _ in range(ROUNDS):
        best = fit.ended(kind, found)
        if form is None and kind.displays:
            kind, best = fit.settled(kind, best)
        if best.nats[0] > before - EARNED:
            break
        before = best.nats[0]
        form = fit.form(kind, best.numbers[0])
        fits = fitted.of(form)
        if not fits or fits[0].error <= ENOUGH:
            break
        found = fit.begun(kind, form, best.numbers[0])
    return form


@dataclass(frozen=True)
class _Fitting:
    """A LUT, its nodes, and where its range begins and how far it goes."""

    fitted: Fitted
    lit: Lit
    ends: tuple[float, float]

    def form(self, kind: StepKind, numbers: Array) -> Form:
        """The form with a step of known numbers."""
        step = kind.made(numbers)
        return Form(after=After(step, *self.ends)) if kind.after else Form(compression=step)

    def begun(self, kind: StepKind, form: Form | None, numbers: Array) -> _Fits:
        """First fits of the best sources of a form, from these numbers."""
        fits = self.fitted.of(form or Form(compression=kind.begins))[:SOURCES]
        rows = {source: row for row, source in enumerate(self.lit.sources)}
        start = _Fits(
            np.array([rows[fit.source] for fit in fits], np.int64),
            np.array([fit.matrix for fit in fits]).reshape(-1, 3, 3),
            np.repeat(numbers[None], len(fits), axis=0),
            np.array([fit.nats for fit in fits]),
        )
        few = self.lit.thinned(SCREENED)
        return self._fit(kind, start, few, GLANCES).best(FOLLOWED) if fits else start

    def ended(self, kind: StepKind, begun: _Fits) -> _Fits:
        """The best of the last fits, on more nodes."""
        return self._fit(kind, begun, self.lit.thinned(FITTED), STEPS).best(1)

    def settled(self, kind: StepKind, best: _Fits) -> tuple[StepKind, _Fits]:
        """The kind and its fits with a display that exists, where that explains as much."""
        few = self.lit.thinned(SCREENED)
        tried = [
            (each, self._fit(each, best.at(each.table[0]), few, GLANCES))
            for each in kind.on_displays(best.numbers[0])
        ]
        known = min(tried, key=lambda each: float(each[1].nats[0]))[0]
        found = self.ended(
            known, self.begun(known, self.form(known, known.table[0]), known.table[0])
        )
        return (known, found) if found.nats[0] < best.nats[0] + EARNED else (kind, best)

    def _fit(self, kind: StepKind, start: _Fits, part: Lit, steps: int) -> _Fits:
        """The fits after some steps of Levenberg and Marquardt's method, each source by itself."""
        lights = part.lights.only(start.rows).level()
        model = Model(part.ground, lights, signal_space(part.ground))
        along = _Along(kind, model, start.matrix, self.ends)
        at = np.concatenate([np.zeros((len(start.rows), 6)), start.numbers], axis=1) / along.small
        there = along.seen(at)
        damping = np.full(len(at), FIRM)
        for _ in range(steps):
            left = there[0].reshape(len(at), -1)
            weight = 1 / np.sqrt(np.hypot(1, left / SLIGHT))
            slopes = along.slopes(at, *there) * weight[..., None]
            turned = slopes.transpose(0, 2, 1)
            normal = turned @ slopes
            trace = np.trace(normal, axis1=1, axis2=2) / at.shape[1]
            normal += (damping * trace + 1e-12)[:, None, None] * np.eye(at.shape[1])
            step = np.linalg.solve(normal, turned @ (left * weight)[..., None])[..., 0]
            tried = np.clip(at - step, along.low, along.high)
            now = along.seen(tried)
            better = _size(now[0]) < _size(there[0])
            damping = np.where(better, damping / FIRMER, damping * FIRMER)
            at = np.where(better[:, None], tried, at)
            kept = better[:, None, None]
            there = tuple(np.where(kept, *each) for each in zip(now, there, strict=True))
        given = at * along.small
        matrix = moved(start.matrix, given[:, :6])
        nats = nats_of(there[0].reshape(len(at), -1), self.fitted.floor)
        return _Fits(start.rows, matrix, given[:, 6:], nats)


@dataclass(frozen=True)
class _Along:
    """What a step with numbers leaves at nodes, and how that changes; places are in `small`."""

    kind: StepKind
    model: Model
    matrix: Array
    ends: tuple[float, float]

    @cached_property
    def small(self) -> Array:
        """What a place is counted in: small changes of the matrix, then of the numbers."""
        return np.concatenate([np.full(6, SMALL), self.kind.table[3]])

    @property
    def low(self) -> Array:
        """The least place."""
        return np.concatenate([np.full(6, -1.0), self.kind.table[1]]) / self.small

    @cached_property
    def high(self) -> Array:
        """The most."""
        return np.concatenate([np.full(6, 1.0), self.kind.table[2]]) / self.small

    @cached_property
    def _outputs(self) -> Array:
        outputs = (self.model.space.outputs - self.ends[0]) / self.ends[1]
        return np.broadcast_to(outputs, self.model.lights.nodes.shape)

    def seen(self, place: Array) -> tuple[Array, ...]:
        """The errors in codes; what the step is given, what it gives, codes by light: (s, n, 3)."""
        given = place * self.small
        light = self.model.lights.nodes @ moved(self.matrix, given[:, :6]).transpose(0, 2, 1)
        before = self._outputs if self.kind.after else light
        after = np.asarray(self.kind.moved(before, given[:, None, 6:]))
        plain = np.broadcast_to(np.eye(3), self.matrix.shape)
        off, told, gain = self.model.of_light(light if self.kind.after else after, plain)
        if self.kind.after:
            undone = self.ends[0] + self.ends[1] * after
            off = np.where(np.isnan(off), np.nan, (undone - told) * CODES)
        return np.clip(np.nan_to_num(off, nan=UNSEEN), -UNSEEN, UNSEEN), before, after, gain * CODES

    def slopes(self, place: Array, off: Array, before: Array, after: Array, gain: Array) -> Array:
        """What the errors gain with each number of the place, (s, 3n, k).

        Only the step itself is differentiated by differences: what light gives is known.
        """
        numbers = place[:, 6:] * self.kind.table[3]
        count = numbers.shape[1]
        moves = STEP * np.where(place + STEP > self.high, -1.0, 1.0)[:, 6:]
        tried = numbers + (moves * self.kind.table[3]) * np.eye(count)[:, None]
        with_numbers = (self.kind.moved(before, tried[:, :, None]) - after) / moves.T[
            ..., None, None
        ]
        if self.kind.after:
            with_numbers *= self.ends[1] * CODES
            with_light = -gain[..., None] * np.eye(3)
        else:
            with_numbers = -gain * with_numbers
            small = STEP * largest(np.abs(before))[..., None] + TINY
            near = before + small * np.eye(3)[:, None, None]
            with_light = (self.kind.moved(near, numbers[:, None]) - after) / small
            with_light = -gain[..., None] * np.moveaxis(with_light, 0, -1)
        made = by_entries(SMALL * with_light, self.model.lights.nodes, 6 + count)
        made[..., 6:] = np.moveaxis(with_numbers, 0, -1)
        made[..., 6:] *= self.low[6:] < self.high[6:]
        made = np.where((np.abs(off) < UNSEEN)[..., None], np.nan_to_num(made), 0.0)
        return made.reshape(len(off), -1, 6 + count)


def _size(misses: Array) -> Array:
    """How much is left, (s,): squares where it is slight, less where it is large."""
    return np.asarray(np.hypot(1, misses / SLIGHT).sum(axis=(1, 2)))
