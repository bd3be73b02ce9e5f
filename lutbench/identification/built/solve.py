"""Parameters of parts by least squares, simplified where possible."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.built.parts import Part, put
from lutbench.identification.samples import CODES, Samples
from lutbench.model.conversion import Conversion
from lutbench.model.transforms import Array

ROUNDING, ROUNDING_CODES = 1.05, 0.004
"""The residual of an exact description: at most this many times the rounding, plus 10-bit codes."""

FAR = 300.0
"""10-bit codes of error assumed for parameters out of limits, and the most for any value."""

STEP = 1e-5
"""The change of a parameter for a numerical derivative."""

GLANCE, TRIES = 8, 40
"""Steps after which a form may be abandoned, and the most steps."""

NEARER, NEAR, MANY = 1.0, 2.0, 8
"""10-bit codes of error above which it is abandoned; the same with many parameters, which need
more steps; and the number of parameters above which there are many.
"""

DECIMALS = (2, 3, 4)
"""Decimals to which parameters are rounded if the fit stays as good: people usually give few."""


MOST_COLOURS = 2_000_000
"""Colours that a search for `split` converts before it gives up: without a limit it took up to a
quarter of a minute."""

SOONER = 1_000_000
"""Colours of a search for `identify`, which looks at many LUTs: with half of it a tone on luminance
with a blend is not found."""


class GivenUp(Exception):
    """A search has converted as many colours as it may."""


@dataclass
class Work:
    """The colours that a search has converted, and the most that it may. They are counted, since
    seconds would not give the same answer twice."""

    most: int
    colours: int = 0

    def add(self, colours: int) -> None:
        """Count some more.

        Raises
        ------
        GivenUp
        """
        self.colours += colours
        if self.colours > self.most:
            raise GivenUp


@dataclass(frozen=True)
class Nodes:
    """Inputs and outputs, (n, 3), that a description is compared with."""

    inputs: Array
    outputs: Array
    samples: Samples
    work: Work

    def misses(self, task: Conversion | None) -> Array:
        """The errors of a description in codes, (3n,)."""
        self.work.add(len(self.inputs))
        if task is None:
            return np.full(self.outputs.size, FAR)
        try:
            with np.errstate(all="ignore"):
                given = np.asarray(task.pipeline().apply(self.inputs))
        except LutbenchError:
            return np.full(self.outputs.size, FAR)
        off = (self.samples.held(given) - self.outputs) * CODES
        return np.clip(np.nan_to_num(off, nan=FAR), -FAR, FAR).ravel()


@dataclass(frozen=True)
class Solved:
    """A description of some parts, its parameters, and its root mean square error in codes."""

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
    return ROUNDING * samples.floor + ROUNDING_CODES


def error_of(task: Conversion | None, nodes: Nodes) -> float:
    """The root mean square in codes."""
    return float(np.sqrt(np.mean(nodes.misses(task) ** 2)))


def solved(
    task: Conversion,
    parts: tuple[Part, ...],
    nodes: Nodes,
    start: Array | None = None,
) -> Solved:
    """The parameters of `parts` with the least error on the nodes."""
    low = np.array([v for part in parts for v in part.low])
    high = np.array([v for part in parts for v in part.high])
    begin = np.array([v for part in parts for v in part.start]) if start is None else start
    begin = np.clip(begin, low, high)

    def misses(values: Array) -> Array:
        return nodes.misses(put(task, parts, values))

    plain = misses(begin)
    moves = STEP * np.where(begin + STEP > high, -1.0, 1.0)
    visible = [np.any(misses(begin + move) != plain) for move in np.diag(moves)]
    free = np.flatnonzero(visible)
    if not len(free):
        return Solved(task, parts, begin, float(np.sqrt(np.mean(plain**2))))

    def of_free(values: Array) -> Array:
        every = begin.copy()
        every[free] = np.clip(values, low[free], high[free])
        return misses(every)

    bounds = (low[free] - 1e-9, high[free] + 1e-9)
    values, error = _fitted(of_free, begin[free], bounds)
    begin[free] = np.clip(values, low[free], high[free])
    return Solved(task, parts, begin, error)


def _fitted(
    misses: Callable[[Array], Array], begin: Array, bounds: tuple[Array, Array]
) -> tuple[Array, float]:
    """The values with the least error, and that error; abandoned where it stays large."""
    from scipy.optimize import least_squares

    def stepped(values: Array, tries: int, method: Any) -> tuple[Array, float]:
        found = least_squares(
            misses,
            values,
            bounds=bounds,
            method=method,
            x_scale="jac",
            diff_step=STEP,
            max_nfev=tries,
            ftol=1e-9,
            xtol=1e-10,
        )
        return found.x, float(np.sqrt(2 * found.cost / len(found.fun)))

    near = NEAR if len(begin) > MANY else NEARER
    values, error = stepped(begin, GLANCE, "dogbox")
    method = "dogbox"
    if error > near:
        # The first method is quick near a limit, but sometimes gets stuck at one.
        values, error = stepped(begin, GLANCE, "trf")
        method = "trf"
    return stepped(values, TRIES, method) if error <= near else (values, error)


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
