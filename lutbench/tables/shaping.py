"""The shaper before a lattice, which places the nodes where the transform needs them.

A .cube has the rows of a shaper at equal steps of its input. From linear light these are too
few in the dark (with 65536 rows up to 16 times white, everything more than ten stops under
grey is in the first row), so the nodes behind the shaper have to follow the curve there. A
format with a row for each half float (`half_floats`) has no such limit.

The shaper is a weighted sum of three coordinates, each from 0 to 1:

- the length of the output curve for greys, so that nodes are evenly spaced on the output;
- asinh(light / 2t), logarithmic above t and linear below, so that there are nodes where single
  channels still change although grey is black or clipped;
- a step at the first row above zero light, so that there are nodes within it.

A small grid of weights and t is searched for the shaper with the most nodes per stop of light
whose error for greys, from ten stops under mid grey to six above, is at most `ENOUGH_CODES`; if
none reaches that, the one with the least error is used. A node is placed where grey starts to
clip.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.model.curves.base import MID_GREY, Curve
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import SIZES_1D, Lut1D
from lutbench.tables.nodes import check_size, domain_of, greys

STOPS = (-10.0, 6.0)
"""Stops from mid grey in a scene that is exposed for grey."""

ENOUGH_CODES = 0.45
"""10-bit codes: less than half a code, with a margin for the file's decimals."""

_MOVED = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
"""Weights of the length of the output curve that are tried; see `_Parts`."""

_FIRST_ROW = (0.0, 0.02, 0.04, 0.07, 0.1, 0.13)
"""Weights of the first row that are tried."""

_LEAST_LIGHTS = MID_GREY * 2.0 ** np.arange(-16.0, -3.0, 1.5)
"""Values of t that are tried, in light."""

_TESTED_GREYS = 641
"""Greys on which a shaper is tested: forty per stop."""


@dataclass(frozen=True)
class Span:
    """The range of a shaper's input, `low` to `high`, and its number of rows."""

    low: float
    high: float
    rows: int

    def with_a_row_at_zero(self) -> Span:
        """The same span, lowered by less than a row, so that zero light is on a row.

        >>> Span(-0.1, 1.0, 12).with_a_row_at_zero().low
        -0.1
        """
        if not self.low < 0 < self.high:
            return self
        under = int(np.ceil(-self.low * (self.rows - 1) / (self.high - self.low) - 1e-9))
        return Span(-under * self.high / (self.rows - 1 - under), self.high, self.rows)

    @property
    def inputs(self) -> Array:
        """The input of each row, shape (rows,)."""
        return np.linspace(self.low, self.high, self.rows)


def shaper_of(curve: Curve, span: Span) -> Lut1D:
    """`curve.encode` over a span, scaled so that its ends become 0 and 1.

    Raises
    ------
    LutbenchError
        When the number of rows is out of range, or the curve does not rise over the span.
    """
    check_size(span.rows, SIZES_1D)
    low, high = span.low, span.high
    if not low < high:
        raise LutbenchError(
            f"a shaper from {low:g} to {high:g} has no width", accepted="low below high"
        )
    ends = curve.encode(np.array([low, high]))
    shaped = (curve.encode(span.inputs) - ends[0]) / (ends[1] - ends[0])
    if not (np.diff(shaped) > 0).all():
        raise NotInvertibleError(
            f"the shaper {curve.name!r} does not rise from {low:g} to {high:g}"
        )
    return Lut1D(greys(shaped), np.array([[low] * 3, [high] * 3]))


def shaper_for(transform: Transform, to_light: Transform, span: Span, size: int) -> Lut1D:
    """The shaper before a lattice of `size` nodes along an edge.

    Parameters
    ----------
    transform
        The transform that the LUT samples.
    to_light
        From its input to light, mid grey at 0.18.

    Raises
    ------
    NotInvertibleError
        When light does not rise with the input.
    """
    if not span.low < span.high or not SIZES_1D[0] <= span.rows <= SIZES_1D[1]:
        raise LutbenchError("the shaper is out of range", accepted="low < high, 2 to 65536 rows")
    span = span.with_a_row_at_zero()
    rows = rows_at(span.inputs, transform, to_light, size)
    return Lut1D(greys(rows), np.array([[span.low] * 3, [span.high] * 3]))


def half_floats(low: float, high: float) -> Array:
    """The half floats from `low` to `high` in rising order, with zero once.

    >>> len(half_floats(0.0, 1.0)), half_floats(0.0, 1.0)[:2].tolist()
    (15361, [0.0, 5.960464477539063e-08])
    """
    positive = np.arange(0x7C00, dtype=np.uint16).view(np.float16).astype(np.float64)
    every = np.concatenate([-positive[:0:-1], positive])
    return every[(every >= low) & (every <= high)]


def rows_at(inputs: Array, transform: Transform, to_light: Transform, size: int) -> Array:
    """The values, 0 to 1, of a shaper with rows at rising `inputs`; both have shape (n,).

    `transform`, `to_light`, `size` and errors as for `shaper_for`.
    """
    layout = _Layout(transform, to_light, inputs, size)
    best, least = None, np.inf
    grid = itertools.starmap(_Parts, itertools.product(_MOVED, _FIRST_ROW, _LEAST_LIGHTS))
    for parts in sorted(grid, key=layout.nodes_per_stop, reverse=True):
        rows = layout.rows(parts)
        if (error := layout.error(rows)) < least:
            least, best = error, rows
        if least <= ENOUGH_CODES:
            break
    if best is None or not (np.diff(best) > 0).all():
        raise NotInvertibleError(
            f"light does not rise from {inputs[0]:g} to {inputs[-1]:g}, so a shaper cannot be made"
        )
    return best


@dataclass(frozen=True)
class _Parts:
    """The weights of the output curve's length and of the first row, and t (`dark`), in light."""

    moved: float
    first_row: float
    dark: float


@dataclass(frozen=True, eq=False)
class _Layout:
    """Shapers for one transform, and the error of greys with each."""

    transform: Transform
    to_light: Transform
    inputs: Array
    size: int

    @cached_property
    def light(self) -> Array:
        return np.asarray(self.to_light.apply(greys(self.inputs))[:, 1])

    @cached_property
    def moved(self) -> Array:
        """Length of the output curve from the first row on, 0 to 1, shape (n,)."""
        steps = np.abs(np.diff(self.transform.apply(greys(self.inputs)), axis=0)).max(axis=1)
        way = np.concatenate([[0.0], np.cumsum(steps)])
        return np.asarray(way / way[-1]) if way[-1] > 0 else np.linspace(0, 1, len(way))

    @cached_property
    def tests(self) -> tuple[Array, Array]:
        """Inputs of test greys, shape (m,), and their exact outputs, shape (m, 3)."""
        inputs = _inputs_of_stops(self.inputs, self.light)
        return inputs, np.asarray(self.transform.apply(greys(inputs)))

    def nodes_per_stop(self, parts: _Parts) -> float:
        """The share of the nodes in a stop of light well above t, due to the asinh term."""
        width = np.diff(np.arcsinh(self.light[[0, -1]] / (2 * parts.dark)))
        return float((1 - parts.moved - parts.first_row) * np.log(2) / width[0])

    def rows(self, parts: _Parts) -> Array:
        """The rows of a shaper, from 0 to 1."""
        stops = np.arcsinh(self.light / (2 * parts.dark))
        stops = (stops - stops[0]) / (stops[-1] - stops[0])
        first = np.zeros(len(stops))
        first[int(np.searchsorted(self.light, 0.0)) + 1 :] = 1.0
        weight = 1 - parts.moved - parts.first_row
        rows = parts.moved * self.moved + parts.first_row * first + weight * stops
        cut = int(np.searchsorted(self.moved, 1 - 1e-9))
        if self.size < 3 or cut >= len(rows) - 1:
            return np.asarray(rows)
        last = self.size - 1
        node = np.clip(np.rint(rows[cut] * last), 1, last - 1) / last
        return np.asarray(np.interp(rows, [0.0, rows[cut], 1.0], [0.0, node, 1.0]))

    def error(self, rows: Array) -> float:
        """The largest error of a grey, in 10-bit codes."""
        inputs, expected = self.tests
        nodes = np.linspace(0, 1, self.size)
        at_nodes = self.transform.apply(greys(np.interp(nodes, rows, self.inputs)))
        at = np.interp(inputs, self.inputs, rows)
        found = np.stack([np.interp(at, nodes, at_nodes[:, c]) for c in range(3)], axis=1)
        return float(CODES_10_BIT * np.abs(found - expected).max())


def greys_off(
    lut: Transform, exact: Transform, to_light: Transform, every: Array | None = None
) -> float:
    """The largest error of `lut` for greys within `STOPS` and its domain, in 10-bit codes.

    `every` are rising inputs over the domain; needed if `lut` is not a LUT.
    """
    if every is None:
        low, high = domain_of(lut)[:, 1]
        every = np.linspace(low, high, SIZES_1D[1])
    inputs = greys(_inputs_of_stops(every, np.asarray(to_light.apply(greys(every))[:, 1])))
    return float(CODES_10_BIT * np.abs(lut.apply(inputs) - exact.apply(inputs)).max())


def _inputs_of_stops(inputs: Array, light: Array) -> Array:
    """The inputs of greys within `STOPS` and the range of `light`; if none, equal steps over it."""
    stops = np.linspace(*STOPS, _TESTED_GREYS)
    found = np.interp(MID_GREY * 2.0**stops, light, inputs, left=np.nan, right=np.nan)
    found = found[np.isfinite(found)]
    return found if len(found) else np.linspace(inputs[0], inputs[-1], _TESTED_GREYS)
