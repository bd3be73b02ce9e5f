"""Parameters of parts by least squares, simplified where possible."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from lutbench.identification.built.nodes import FAR, Nodes
from lutbench.identification.built.parts import Part, put
from lutbench.identification.common import STEP, rounded
from lutbench.identification.samples import Samples
from lutbench.model.conversion import Conversion
from lutbench.model.transforms import Array

UNSEEN = 1e-4
"""10-bit codes by a unit of a parameter up to which it changes nothing: the arithmetic gives up to
1e-5 where there is no change, and those that are seen give more than 0.01.
"""

GLANCE, TRIES = 8, 40
"""Steps after which a form may be abandoned, and the most steps."""

NEARER, NEAR, MANY = 1.0, 2.0, 8
"""10-bit codes of error above which it is abandoned; the same with many parameters, which need
more steps; and the number of parameters above which there are many.
"""

STEPS = (9, 3, 2)
"""Settings of each of one, two or three parameters by which the least error is told: nine
descriptions at most, since the sources that are wrong mostly miss by a hundred codes.
"""

TELLING = 100
"""Nodes on which it is told first, where most leave far too much."""

BEYOND = 0.5
"""The share by which errors between two settings may lie beyond those of both: nearly all rise or
fall with a parameter.
"""

PROMISE = 0.5
"""The share of the error that the best linear step must take away before a second method is tried
with more parameters than `STEPS`: where it leaves more, the least error nearby is found, and is not
rounding. With so few, such as the limits of a compression, the first method may be stuck at a bend.
"""

DECIMALS = (2, 3, 4)
"""Decimals to which parameters are rounded if the fit stays as good: people usually give few."""


@dataclass(frozen=True)
class Solved:
    """A description of some parts, its parameters, and its root mean square error in codes; where
    nothing comes near, what is known to be left at least."""

    task: Conversion
    parts: tuple[Part, ...]
    values: Array
    error: float

    @property
    def made(self) -> Conversion:
        """The description with its parameters set."""
        done = put(self.task, self.parts, self.values)
        assert done is not None
        return done

    @property
    def graded(self) -> bool:
        """Whether one of the parts is a CDL."""
        return any(part.grades for part in self.parts)

    def of(self, part: Part) -> Array:
        """The values of one of the parts."""
        return self.values[self._span(part)]

    def with_values(self, part: Part, values: Array) -> Array:
        """All values, with others for one of the parts."""
        every = self.values.copy()
        every[self._span(part)] = values
        return every

    def _span(self, part: Part) -> slice:
        before = self.parts[: self.parts.index(part)]
        at = sum(len(each.start) for each in before)
        return slice(at, at + len(part.start))

    @property
    def length(self) -> int:
        """The number of digits of all parameters that differ from their defaults."""
        usual = [v for part in self.parts for v in part.usual]
        return sum(_digits(v) for v, u in zip(self.values, usual, strict=True) if v != u)


def _digits(value: float) -> int:
    """Decimals of a number that was rounded to a few, with the one before them; else many."""
    return next((d + 1 for d in range(max(DECIMALS) + 1) if round(value, d) == value), MANY)


def limit_of(samples: Samples) -> float:
    """The largest root mean square error in codes of an exact description."""
    return rounded(samples.floor)


def root_mean_square(values: Array) -> float:
    """Of all values."""
    return float(np.sqrt(np.mean(values**2)))


def error_of(task: Conversion | None, nodes: Nodes) -> float:
    """The root mean square in codes."""
    return root_mean_square(nodes.misses(task))


class Fit:
    """The errors of a description on nodes, by the values of its parts' parameters."""

    def __init__(self, task: Conversion, parts: tuple[Part, ...], nodes: Nodes) -> None:
        self.task, self.parts, self.nodes = task, parts, nodes
        self.low = np.array([v for part in parts for v in part.low])
        self.high = np.array([v for part in parts for v in part.high])
        self.free = np.arange(len(self.high))
        self._misses: dict[bytes, Array] = {}
        self._slopes: dict[bytes, Array] = {}

    def misses(self, values: Array) -> Array:
        """The errors in codes, (3n,)."""
        key = values.tobytes()
        if key not in self._misses:
            self._misses[key] = self.nodes.misses(put(self.task, self.parts, values))
        return self._misses[key]

    def slopes(self, values: Array) -> Array:
        """Their change with each of the `free` parameters, (3n, k), by differences."""
        key = values.tobytes()
        if key not in self._slopes:
            moves = STEP * np.maximum(np.abs(values), 1.0)
            moves[values + moves > self.high] *= -1
            moved = self.nodes.all_misses(self._moved(values, moves))
            self._slopes[key] = (moved - self.misses(values)).T / moves[self.free]
        return self._slopes[key]

    def _moved(self, values: Array, moves: Array) -> list[Conversion | None]:
        """The descriptions with each of the free parameters moved."""
        tasks: list[Conversion | None] = []
        before: Conversion | None = self.task
        at = 0
        for j, part in enumerate(self.parts):
            end = at + len(part.start)
            for k in self.free[(at <= self.free) & (self.free < end)]:
                moved = values.copy()
                moved[k] += moves[k]
                tasks.append(put(before, self.parts[j:], moved[at:]))
            before = put(before, (part,), values[at:end])
            at = end
        return tasks

    def keep_visible(self, values: Array) -> None:
        """Free only the parameters that change something at these values."""
        slopes = self.slopes(values)
        self.free = np.flatnonzero(np.abs(slopes).max(axis=0) > UNSEEN)
        self._slopes = {values.tobytes(): slopes[:, self.free]}


def solved(
    task: Conversion,
    parts: tuple[Part, ...],
    nodes: Nodes,
    start: Array | None = None,
) -> Solved:
    """The parameters of `parts` with the least error on the nodes.

    What was fitted before is not fitted again, but counts as the same work, so that an answer
    does not depend on what was asked before.
    """
    begin = np.array([v for part in parts for v in part.start]) if start is None else start
    key = task, parts, begin.tobytes()
    found: Solved
    if key in nodes.fits:
        found, colours = nodes.fits[key]
        nodes.work.add(colours)
    else:
        before = nodes.work.colours
        found = _solved(task, parts, nodes, begin)
        nodes.fits[key] = found, nodes.work.colours - before
    return found


def least_error(fit: Fit, most: float) -> float:
    """The error in codes that any values of few parameters leave at least; 0 for many parameters.

    Told from some of the nodes where these leave more than `most`.

    The settings are divided into boxes. Within one the errors lie between those at its corners:
    what is of one sign at all of them remains.
    """
    count = len(fit.high)
    if not 0 < count <= len(STEPS):
        return 0.0
    steps = STEPS[count - 1]
    corners = product(*np.linspace(fit.low, fit.high, steps).T)
    tasks = [put(fit.task, fit.parts, np.array(each)) for each in corners]
    shape = (*(steps,) * count, -1)
    every = len(fit.nodes.inputs) // TELLING
    if every > 1:
        # What some of the nodes leave, all leave at least in proportion.
        least = _left(fit.nodes.some_misses(tasks, every).reshape(shape)) / np.sqrt(every)
        if least > most:
            # Counted as all of them, or searches would go on for longer than they may.
            fit.nodes.work.add(len(fit.nodes.inputs) * len(tasks))
            return float(least)
    return _left(fit.nodes.all_misses(tasks).reshape(shape))


def _left(misses: Array) -> float:
    """The error in codes that is left anywhere between settings, from misses (steps, ..., n)."""
    count, steps = misses.ndim - 1, len(misses)
    # A description that cannot be limits nothing.
    unknown = (misses == FAR).all(axis=-1, keepdims=True)
    least, most = np.where(unknown, -FAR, misses), misses
    for axis in range(count):
        one, other = np.arange(steps - 1), np.arange(1, steps)
        least = np.minimum(least.take(one, axis), least.take(other, axis))
        most = np.maximum(most.take(one, axis), most.take(other, axis))
    beyond = BEYOND * (most - least)
    left = np.maximum(np.maximum(least - beyond, -most - beyond), 0.0)
    return float(np.sqrt(np.mean(left**2, axis=-1)).min())


def _solved(task: Conversion, parts: tuple[Part, ...], nodes: Nodes, begin: Array) -> Solved:
    fit = Fit(task, parts, nodes)
    most = max(NEARER, limit_of(nodes.samples))
    least = least_error(fit, most)
    if least > most:
        return Solved(task, parts, begin, least)
    low, high = fit.low, fit.high
    begin = np.clip(begin, low, high)
    fit.keep_visible(begin)
    free = fit.free
    if not len(free):
        return Solved(task, parts, begin, root_mean_square(fit.misses(begin)))

    def every(values: Array) -> Array:
        whole: Array = begin.copy()
        whole[free] = np.clip(values, low[free], high[free])
        return whole

    values, error = _fitted(
        lambda given: fit.misses(every(given)),
        lambda given: fit.slopes(every(given)),
        begin[free],
        (low[free] - 1e-9, high[free] + 1e-9),
    )
    return Solved(task, parts, every(values), error)


def _fitted(
    misses: Callable[[Array], Array],
    slopes: Callable[[Array], Array],
    begin: Array,
    bounds: tuple[Array, Array],
) -> tuple[Array, float]:
    """The values with the least error, and that error; abandoned where it stays large."""
    from scipy.optimize import least_squares

    def stepped(values: Array, tries: int, method: Any) -> tuple[Array, float, float]:
        found = least_squares(
            misses,
            values,
            slopes,
            bounds=bounds,
            method=method,
            x_scale="jac",
            max_nfev=tries,
            ftol=1e-9,
            xtol=1e-10,
        )
        step = np.linalg.lstsq(found.jac, found.fun, rcond=None)[0]
        left = found.fun - found.jac @ step
        return found.x, root_mean_square(found.fun), root_mean_square(left)

    near = NEAR if len(begin) > MANY else NEARER
    method = "dogbox"
    values, error, left = stepped(begin, GLANCE, method)
    if error > near and (len(begin) <= len(STEPS) or left < PROMISE * error):
        # The first method is quick near a limit, but sometimes gets stuck on the way.
        method = "trf"
        values, error, _ = stepped(begin, GLANCE, method)
    return stepped(values, TRIES, method)[:2] if error <= near else (values, error)


def plainer(found: Solved, nodes: Nodes, limit: float) -> Solved:
    """The same with defaults or round values wherever the fit stays as good."""
    values = found.values.copy()
    usual = np.array([v for part in found.parts for v in part.usual])

    def fits(trial: Array) -> bool:
        return error_of(put(found.task, found.parts, trial), nodes) <= limit

    # Last first: the start of a toe is meaningless without a toe.
    for decimals in ((), DECIMALS):
        for k in reversed(range(len(values))):
            for number in (usual[k], *(round(float(values[k]), d) for d in decimals)):
                trial = values.copy()
                trial[k] = number
                if fits(trial):
                    values = trial
                    break
    done = put(found.task, found.parts, values)
    return replace(found, values=values, error=error_of(done, nodes))
