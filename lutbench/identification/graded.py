"""A target under a grade: a CDL, or a cubic, fitted to a free curve for many targets at once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.robust import masked_median
from lutbench.identification.common import DARK
from lutbench.identification.curvebank import LOG_LIGHT, End, scale_of
from lutbench.identification.freecurve import (
    FEWEST,
    KNOWN_TO,
    PARAMETER,
    UNEXPLAINED,
    FreeCurve,
    TargetFit,
    cost_of,
)
from lutbench.identification.samples import CODES
from lutbench.model.transforms import Array

STEPS = 28
"""Steps of Levenberg and Marquardt's method, after which a fit hardly changes."""

SIFTED = 5
"""Steps after which only the better problems go on."""

REWEIGHED = (10, 15, 20)
"""Steps before which outliers are weighed down anew."""

GO_ON = 24
"""The fewest problems that go on."""

MANY = 100
"""Problems from which every other point is enough to find the better ones."""

POINTS = 24
"""The fewest points of a problem for that."""

NOT_BLACK = 0.02
"""Signal below which points are left out: near black a power is too steep for a stable step."""

NEAR_WHITE = (0.985, 1.003)
"""Signal between these is left out: a CDL clips there before its saturation mixes the channels."""

KEPT = 8
"""Fits that are kept, the best first."""

EXPOSURES = ((2.0, 13), (0.25, 9), (0.05, 9), (0.012, 9))
"""Stops to either side over which exposures are tried, and their number: finer each time."""

PULL_EXPOSURE = 0.4
"""The weight that pulls log exposure towards zero: it decides where the points do not."""

PULL = (0.15, 0.5, 0.15)
"""The same for log slope, offset and log power."""

USUAL = (0.15, 0.05, 0.15)
"""The assumed usual spread of log slope, offset and log power (chosen, not measured): of targets
that a CDL explains equally well, the one with the smallest grade is preferred.
"""

_STEP = LOG_LIGHT[1] - LOG_LIGHT[0]


@dataclass(frozen=True)
class Problems:
    """Light in and output in the signal of a target, for each problem p.

    `log_in` is (p, n), `lit` weighs the points, `wanted` is the output in
    signal, (p, channels, n), `tables` the signal over log light, `span` the
    full-scale width of signal 0..1, `target` the number of each target, and
    `group` the number of whatever else differs between problems (the source).
    """

    log_in: Array
    lit: Array
    wanted: Array
    tables: Array
    low: Array
    span: Array
    target: NDArray[np.int64]
    group: NDArray[np.int64]

    @classmethod
    def of(
        cls,
        light: Array,
        curve: FreeCurve,
        targets: Sequence[End],
        chosen: NDArray[np.int64],
        group: NDArray[np.int64] | None = None,
    ) -> Problems:
        """Problems of light in, shape (p, n), the curve's output, and a target each."""
        low, span = np.array([scale_of(targets[j].range) for j in chosen]).reshape(-1, 2).T
        y = curve.output.T if curve.tinted else curve.output.mean(axis=1)[None]
        lit = light > DARK
        return cls(
            np.log(np.where(lit, light, 1.0)),
            lit.astype(np.float64),
            (y[None] - low[:, None, None]) / span[:, None, None],
            np.array([targets[j].curve.by_log_light for j in chosen]),
            low,
            span,
            chosen,
            np.zeros(len(chosen), dtype=np.int64) if group is None else group,
        )

    @property
    def channels(self) -> int:
        """One where all channels share a curve, else three."""
        return int(self.wanted.shape[1])

    def only(self, keep: NDArray[np.int64]) -> Problems:
        """The problems at some indices."""
        return Problems(**{each.name: getattr(self, each.name)[keep] for each in fields(self)})

    def begun(self) -> Problems:
        """The problems, with every other of their points where both are many."""
        if len(self.target) <= MANY or self.log_in.shape[1] < POINTS:
            return self
        return replace(
            self,
            log_in=self.log_in[:, ::2],
            lit=self.lit[:, ::2],
            wanted=self.wanted[:, :, ::2],
        )

    def signal(self, shift: Array) -> tuple[Array, Array]:
        """The target's signal of light brighter by `shift` (p, in log), and its slope."""
        place = np.clip(
            (self.log_in + shift[:, None] - LOG_LIGHT[0]) / _STEP, 0, len(LOG_LIGHT) - 1.001
        )
        cell = place.astype(np.int64)
        part = place - cell
        cell += (np.arange(len(cell)) * self.tables.shape[1])[:, None]
        flat = self.tables.ravel()
        below = flat[cell]
        rise = flat[cell + 1] - below
        return below + part * rise, rise / _STEP


def fit_cdl(problems: Problems, begin: Array) -> list[TargetFit]:
    """The best ``cdl`` fits: log k and, in each channel, log slope, offset and log power.

    `begin` holds stops to start from, one a problem. `fitting.cdl` fits one CDL to colours
    before and after it; here a curve alone is known, and every target and exposure is tried.
    """
    if (problems.lit > 0).sum(axis=1).max(initial=0) < FEWEST:
        return []
    state = np.zeros((len(problems.target), 1 + 3 * problems.channels))
    state[:, 0] = np.clip(begin, -3, 3) * np.log(2)
    whole, way = problems, _Descent.at(problems.begun(), state, np.full(len(state), 1e-3))
    for step in range(STEPS):
        if step == SIFTED and len(way.state) > GO_ON:
            best = np.argsort(_typical(way.residual, way.counted))
            best = best[: max(GO_ON, len(best) // 12)]
            way = _Descent.at(whole.only(best), way.state[best], way.damping[best])
        if step in REWEIGHED:
            # The ends may have been clipped before the channels were mixed.
            way = way.reweighed()
        way = way.stepped()
    return _cdl_fits(way)


@dataclass(frozen=True)
class _Descent:
    """The state of all problems during a joint Levenberg-Marquardt descent."""

    problems: Problems
    state: Array
    damping: Array
    counted: Array
    weight: Array
    residual: Array
    jacobian: Array
    loss: Array

    @classmethod
    def at(
        cls, problems: Problems, state: Array, damping: Array, weight: Array | None = None
    ) -> _Descent:
        """Problems at a state, every point with its weight."""
        counted = _counted(problems)
        weight = counted if weight is None else weight
        residual, jacobian = _cdl_model(state, problems, weight)
        loss = _loss(residual, state, _pull(problems))
        return cls(problems, state, damping, counted, weight, residual, jacobian, loss)

    def reweighed(self) -> _Descent:
        """The same with outliers weighed down."""
        weight = self.counted * _trust(self.residual, self.counted)
        return _Descent.at(self.problems, self.state, np.full(len(self.state), 1e-3), weight)

    def stepped(self) -> _Descent:
        """The next step, where it lowers the loss; more damping where it does not."""
        pull, jacobian = _pull(self.problems), self.jacobian
        turned = jacobian.transpose(0, 2, 1)
        normal = turned @ jacobian + np.diag(pull**2)
        right = (turned @ self.residual[:, :, None])[:, :, 0] - pull**2 * self.state
        diagonal = np.einsum("jii->ji", normal)
        damped = normal + (self.damping[:, None] * diagonal)[:, :, None] * np.eye(len(pull))
        step = np.clip(np.linalg.solve(damped, right[:, :, None])[:, :, 0], -0.7, 0.7)
        trial = self.state + step
        residual, slope = _cdl_model(trial, self.problems, self.weight)
        loss = _loss(residual, trial, pull)
        better = np.isfinite(loss) & (loss < self.loss)
        return replace(
            self,
            state=np.where(better[:, None], trial, self.state),
            residual=np.where(better[:, None], residual, self.residual),
            jacobian=np.where(better[:, None, None], slope, jacobian),
            loss=np.where(better, loss, self.loss),
            damping=np.where(better, self.damping * 0.2, self.damping * 6),
        )


def _pull(problems: Problems) -> Array:
    return np.array([PULL_EXPOSURE, *PULL * problems.channels])


def _cdl_fits(way: _Descent) -> list[TargetFit]:
    """The best of the problems, as fits with their costs."""
    problems, state, channels = way.problems, way.state, way.problems.channels
    kept = (way.weight**2).sum(axis=(1, 2))
    error = np.sqrt((way.residual**2).sum(axis=1) / np.maximum(kept, 1))
    share = kept / np.maximum((way.counted**2).sum(axis=(1, 2)), 1e-9)
    cost = cost_of(error, 0) * share + cost_of(np.array(UNEXPLAINED), 0) * (1 - share)
    cost += PARAMETER * state.shape[1] + ((_pull(problems) * state) ** 2).sum(axis=1)
    cost += 0.5 * ((state[:, 1:] / np.tile(USUAL, channels)) ** 2).sum(axis=1)
    fits = []
    for p in np.argsort(cost)[:KEPT]:
        rows = state[p, 1:].reshape(channels, 3)
        values = np.stack([np.exp(rows[:, 0]), rows[:, 1], np.exp(rows[:, 2])])
        found = float(error[p]), float(share[p]), np.broadcast_to(values, (3, 3)).copy()
        stops = float(state[p, 0] / np.log(2))
        target, group = int(problems.target[p]), int(problems.group[p])
        fits.append(TargetFit(target, "cdl", stops, *found, float(cost[p]), group))
    return fits


def _counted(problems: Problems) -> Array:
    """The weight of each point, shape (p, channels, n)."""
    white = (problems.wanted > NEAR_WHITE[0]) & (problems.wanted < NEAR_WHITE[1])
    return np.asarray(((problems.wanted > NOT_BLACK) & ~white) * problems.lit[:, None, :])


def _loss(residual: Array, state: Array, pull: Array) -> Array:
    return np.asarray((residual**2).sum(axis=1) + ((pull * state) ** 2).sum(axis=1))


def _trust(residual: Array, counted: Array) -> Array:
    """A weight for each point, shape (p, channels, n): low for outliers."""
    size = np.abs(residual).reshape(counted.shape)
    scale = _typical(residual, counted)[:, None, None] + KNOWN_TO
    return np.asarray(np.clip(1 - (size / (8 * scale)) ** 2, 0, None))


def _typical(residual: Array, counted: Array) -> Array:
    """The median residual of the points that count, for each problem."""
    size = np.abs(residual).reshape(len(residual), -1)
    fits = counted.reshape(size.shape) > 0.5
    return np.where(fits.any(axis=1), masked_median(size, fits), CODES)


def _cdl_model(state: Array, problems: Problems, weight: Array) -> tuple[Array, Array]:
    """The wanted output minus the model, in codes, and the model's derivatives."""
    signal, rise = problems.signal(state[:, 0])
    count, channels, n = weight.shape
    rows = state[:, 1:].reshape(count, channels, 3)
    slope, power = np.exp(rows[:, :, :1]), np.exp(np.clip(rows[:, :, 2:], -2, 2))
    base = np.maximum(slope * signal[:, None, :] + rows[:, :, 1:2], 1e-5)
    log_base = np.log(base)
    out = np.exp(power * log_base)
    codes = problems.span[:, None, None] * CODES * weight
    by_base = codes * power * out / base
    jacobian = np.zeros((count, channels, n, 1 + 3 * channels))
    jacobian[..., 0] = by_base * slope * rise[:, None, :]
    for c in range(channels):
        at = 1 + 3 * c
        jacobian[:, c, :, at] = by_base[:, c] * slope[:, c] * signal
        jacobian[:, c, :, at + 1] = by_base[:, c]
        jacobian[:, c, :, at + 2] = codes[:, c] * power[:, c] * out[:, c] * log_base[:, c]
    residual = (problems.wanted - out) * codes
    return residual.reshape(count, -1), jacobian.reshape(count, channels * n, -1)


def fit_contrast(problems: Problems, always: Collection[int] = ()) -> list[TargetFit]:
    """The best ``contrast`` fits: a cubic of the signal, exposures in finer and finer steps.

    Those of the targets in `always` are kept, however many are better.
    """
    if (problems.lit > 0).sum(axis=1).max(initial=0) < FEWEST:
        return []
    whole, problems = problems, problems.begun()
    best = _Cubics.none(problems)
    for width, steps in EXPOSURES:
        best = best.tried(problems, np.linspace(-width, width, steps))
        if len(best.stops) > GO_ON:
            kept = np.argsort(best.square)[: max(GO_ON, len(best.stops) // 12)]
            kept = np.union1d(kept, np.flatnonzero(np.isin(problems.target, list(always))))
            problems = whole = whole.only(kept)
            best = best.only(kept)
    error = np.sqrt(best.square)
    cost = cost_of(error, 1 + 4 * problems.channels)
    fits = []
    for rank, p in enumerate(np.argsort(cost)):
        if rank < KEPT or problems.target[p] in always:
            cubic = np.broadcast_to(best.coefficients[p].T, (3, 4)).copy()
            found = float(best.stops[p]), float(error[p]), 1.0, cubic, float(cost[p])
            target, group = int(problems.target[p]), int(problems.group[p])
            fits.append(TargetFit(target, "contrast", *found, group))
    return fits


@dataclass(frozen=True)
class _Cubics:
    """For each problem the stops of the best cubic, its coefficients, and its mean square."""

    stops: Array
    square: Array
    coefficients: Array

    @classmethod
    def none(cls, problems: Problems) -> _Cubics:
        """None yet, at no exposure."""
        count = len(problems.target)
        none = np.zeros((count, 4, problems.channels))
        return cls(np.zeros(count), np.full(count, np.inf), none)

    def only(self, kept: NDArray[np.int64]) -> _Cubics:
        """Those of some problems."""
        return _Cubics(self.stops[kept], self.square[kept], self.coefficients[kept])

    def tried(self, problems: Problems, shifts: Array) -> _Cubics:
        """The best at exposures that differ from those before by `shifts` stops."""
        centre, chosen = self.stops, self.stops.copy()
        square, coefficients = np.full(len(centre), np.inf), np.zeros_like(self.coefficients)
        y = (problems.wanted * problems.lit[:, None, :]).transpose(0, 2, 1)
        lit = (problems.lit**2).sum(axis=1) * problems.channels
        for shift in shifts:
            stops = centre + shift
            signal, _ = problems.signal(stops * np.log(2))
            powers = np.empty((len(signal), 4, signal.shape[1]))
            powers[:, 0] = problems.lit
            for k in range(1, 4):
                np.multiply(powers[:, k - 1], signal, out=powers[:, k])
            turned = powers.transpose(0, 2, 1)
            solved = np.linalg.solve(powers @ turned + 1e-9 * np.eye(4), powers @ y)
            miss = ((turned @ solved - y) ** 2).sum(axis=(1, 2)) / np.maximum(lit, 1e-9)
            miss = miss * (problems.span * CODES) ** 2 + 1e-4 * stops**2
            better = miss < square
            square[better], chosen[better] = miss[better], stops[better]
            coefficients[better] = solved[better]
        return _Cubics(chosen, square, coefficients)
