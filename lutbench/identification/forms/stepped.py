"""A step on light with numbers of its own: fitted together with the matrix before it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.curvebank import scale_of
from lutbench.identification.forms.fits import ENOUGH, FITTED, SCREENED, After, Form
from lutbench.identification.forms.free import Model, moved, signal_space
from lutbench.identification.forms.nodes import Lit
from lutbench.identification.forms.score import nats_of
from lutbench.identification.lightsteps import KINDS, StepKind
from lutbench.identification.samples import range_seen
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

BETTER = 20.0
"""Nats by which a kind must explain more than the others, and a round than the one before."""

UNSEEN = 100.0
"""10-bit codes of error of a node without prediction, and the most that counts."""

SLIGHT = 2.0
"""10-bit codes up to which an error counts by its square; a larger one counts less."""

SMALL = 0.01
"""A small change of an entry of the matrix."""

TINY = 1e-4
"""The share of a small change over which a slope is taken."""

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
    begun = [(kind, fit.begun(kind, None, np.array(kind.start))) for kind in KINDS]
    begun = [(kind, found) for kind, found in begun if len(found.nats)]
    begun.sort(key=lambda each: float(each[1].nats[0]))
    if len(begun) < 2 or begun[0][1].nats[0] > begun[1][1].nats[0] - BETTER:
        return None
    kind, found = begun[0]
    form, before = None, np.inf
    for _ in range(ROUNDS):
        best = fit.ended(kind, found)
        if best.nats[0] > before - BETTER:
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

    def _fit(self, kind: StepKind, start: _Fits, part: Lit, steps: int) -> _Fits:
        """The fits after some steps of Levenberg and Marquardt's method, each source by itself."""
        model = Model(part.ground, part.lights.only(start.rows), signal_space(part.ground))
        small = np.concatenate([np.full(6, SMALL), kind.small])
        low, high = (np.concatenate([np.full(6, end), each]) / small
                     for end, each in ((-1.0, kind.low), (1.0, kind.high)))  # fmt: skip
        at = np.concatenate([np.zeros((len(start.rows), 6)), start.numbers], axis=1) / small

        outputs = (model.space.outputs[None] - self.ends[0]) / self.ends[1]

        def misses(place: Array) -> Array:
            given = place * small
            light = model.lights.nodes @ moved(start.matrix, given[:, :6]).transpose(0, 2, 1)
            if kind.after:
                undone = kind.moved(outputs, given[:, None, 6:])
                off = model.misses_of(light, self.ends[0] + self.ends[1] * undone)
            else:
                off = model.misses_of(kind.moved(light, given[:, None, 6:]))
            return np.clip(np.nan_to_num(off, nan=UNSEEN), -UNSEEN, UNSEEN).reshape(len(off), -1)

        left = misses(at)
        damping = np.full(len(at), FIRM)
        for _ in range(steps):
            weight = 1 / np.sqrt(np.hypot(1, left / SLIGHT))
            moves = TINY * np.where(at + TINY > high, -1.0, 1.0)
            slopes = np.stack([
                (misses(at + moves * each) - left) / (moves * each).sum(axis=1, keepdims=True)
                for each in np.eye(at.shape[1])
            ], axis=2) * weight[..., None]  # fmt: skip
            turned = slopes.transpose(0, 2, 1)
            normal = turned @ slopes
            trace = np.trace(normal, axis1=1, axis2=2) / at.shape[1]
            normal += (damping * trace + 1e-12)[:, None, None] * np.eye(at.shape[1])
            step = np.linalg.solve(normal, turned @ (left * weight)[..., None])[..., 0]
            tried = np.clip(at - step, low, high)
            now = misses(tried)
            better = _size(now) < _size(left)
            damping = np.where(better, damping / FIRMER, damping * FIRMER)
            at = np.where(better[:, None], tried, at)
            left = np.where(better[:, None], now, left)
        given = at * small
        matrix = moved(start.matrix, given[:, :6])
        return _Fits(start.rows, matrix, given[:, 6:], nats_of(left, self.fitted.floor))


def _size(misses: Array) -> Array:
    """How much is left, (s,): squares where it is slight, less where it is large."""
    return np.asarray(np.hypot(1, misses / SLIGHT).sum(axis=1))
