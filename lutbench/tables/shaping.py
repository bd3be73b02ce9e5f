"""Where the nodes behind a shaper fall: laid out for the transform that a LUT samples.

A .cube holds the rows of a shaper at even steps of its input. From linear light that is too few
in the dark (with 65536 rows up to 16 times white, ten stops under grey lie within the first
row), so the nodes behind the shaper have to bend what the rows cannot. A format with a row for
each half float (`half_floats`) has no such bound.

The shaper is a weighed sum of three coordinates, each from 0 to 1:

- how far what comes out of a grey has moved, so that nodes lie evenly on the output;
- asinh(light / 2t), stops above t and even steps below, so that nodes lie where a channel
  alone goes on when grey is black or cut off;
- the first row over no light, so that nodes lie within it.

Of a small grid of weights and t the one is taken that leaves the most nodes to a stop of
light, and with which greys from ten stops under mid grey to six over it come within `ENOUGH`
of the transform; where none does, the one that comes nearest. Where grey begins to be cut off
there is a node.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import SIZES_1D, Lut1D
from lutbench.tables.nodes import domain_of, greys

STOPS = (-10.0, 6.0)
"""From mid grey: what a scene holds that is exposed for grey."""

ENOUGH = 0.45
"""10-bit codes: under the half that rounding a code makes, with room for the file's decimals."""

_MOVED = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
"""Weights that are tried of what has moved; see `_Parts`."""

_FIRST_ROW = (0.0, 0.02, 0.04, 0.07, 0.1, 0.13)
"""Weights that are tried of the first row."""

_LEAST_LIGHTS = MID_GREY * 2.0 ** np.arange(-16.0, -3.0, 1.5)
_TESTS = 641  # greys, forty a stop


@dataclass(frozen=True)
class Span:
    """What a shaper spans, from input `low` to `high`, and its number of rows."""

    low: float
    high: float
    rows: int

    def with_a_row_at_zero(self) -> Span:
        """The same down to less than a row lower, so that no light falls on a row.

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


def laid_out(transform: Transform, to_light: Transform, span: Span, size: int) -> Lut1D:
    """The shaper before a lattice of `size` nodes along an edge.

    Parameters
    ----------
    transform
        What the LUT samples.
    to_light
        From its input to light, mid grey at 0.18.

    Raises
    ------
    NotInvertibleError
        When light does not rise with the input.
    """
    if not span.low < span.high or not SIZES_1D[0] <= span.rows <= SIZES_1D[1]:
        raise LutbenchError("the shaper is out of range", accepted="low < high, size 2 to 65536")
    span = span.with_a_row_at_zero()
    rows = rows_at(span.inputs, transform, to_light, size)
    return Lut1D(greys(rows), np.array([[span.low] * 3, [span.high] * 3]))


def half_floats(low: float, high: float) -> Array:
    """The half floats from `low` to `high` in rising order, one zero only.

    >>> len(half_floats(0.0, 1.0)), half_floats(0.0, 1.0)[:2].tolist()
    (15361, [0.0, 5.960464477539063e-08])
    """
    positive = np.arange(0x7C00, dtype=np.uint16).view(np.float16).astype(np.float64)
    every = np.concatenate([-positive[:0:-1], positive])
    return every[(every >= low) & (every <= high)]


def rows_at(inputs: Array, transform: Transform, to_light: Transform, size: int) -> Array:
    """What a shaper with its rows at rising `inputs`, shape (n,), holds there: from 0 to 1.

    `transform`, `to_light`, `size` and errors as for `laid_out`.
    """
    layout = _Layout(transform, to_light, inputs, size)
    best, least = None, np.inf
    for parts in sorted(_grid(), key=layout.nodes_per_stop, reverse=True):
        rows = layout.rows(parts)
        if (error := layout.error(rows)) < least:
            least, best = error, rows
        if least <= ENOUGH:
            break
    if best is None or not (np.diff(best) > 0).all():
        raise NotInvertibleError(
            f"light does not rise from {inputs[0]:g} to {inputs[-1]:g}, as a shaper has to"
        )
    return best


@dataclass(frozen=True)
class _Parts:
    """The weights of what has moved and of the first row, and t: what light is even under."""

    moved: float
    first_row: float
    dark: float


def _grid() -> list[_Parts]:
    return [_Parts(*each) for each in itertools.product(_MOVED, _FIRST_ROW, _LEAST_LIGHTS)]


@dataclass(frozen=True, eq=False)
class _Layout:
    """Shapers for one transform, and how far each lets greys go wrong."""

    transform: Transform
    to_light: Transform
    inputs: Array
    size: int

    @cached_property
    def light(self) -> Array:
        return np.asarray(self.to_light.apply(greys(self.inputs))[:, 1])

    @cached_property
    def moved(self) -> Array:
        """How far what comes out has moved from the first row, 0 to 1."""
        steps = np.abs(np.diff(self.transform.apply(greys(self.inputs)), axis=0)).max(axis=1)
        way = np.concatenate([[0.0], np.cumsum(steps)])
        return np.asarray(way / way[-1]) if way[-1] > 0 else np.linspace(0, 1, len(way))

    @cached_property
    def tests(self) -> tuple[Array, Array]:
        """Inputs of greys that are spanned, and what comes out of them."""
        inputs = _inputs_of_stops(self.inputs, self.light)
        return inputs, np.asarray(self.transform.apply(greys(inputs)))

    def nodes_per_stop(self, parts: _Parts) -> float:
        """The share of the nodes that a stop of light well over t gets by its light."""
        width = np.diff(np.arcsinh(self.light[[0, -1]] / (2 * parts.dark)))
        return float((1 - parts.moved - parts.first_row) * np.log(2) / width[0])

    def rows(self, parts: _Parts) -> Array:
        """The rows of a shaper, from 0 to 1."""
        even = np.arcsinh(self.light / (2 * parts.dark))
        even = (even - even[0]) / (even[-1] - even[0])
        first = np.zeros(len(even))
        first[int(np.searchsorted(self.light, 0.0)) + 1 :] = 1.0
        rest = 1 - parts.moved - parts.first_row
        rows = parts.moved * self.moved + parts.first_row * first + rest * even
        cut = int(np.searchsorted(self.moved, 1 - 1e-9))
        if self.size < 3 or cut >= len(rows) - 1:
            return np.asarray(rows)
        last = self.size - 1
        node = np.clip(np.rint(rows[cut] * last), 1, last - 1) / last
        return np.asarray(np.interp(rows, [0.0, rows[cut], 1.0], [0.0, node, 1.0]))

    def error(self, rows: Array) -> float:
        """The most that a grey is off, in 10-bit codes."""
        inputs, expected = self.tests
        nodes = np.linspace(0, 1, self.size)
        held = self.transform.apply(greys(np.interp(nodes, rows, self.inputs)))
        at = np.interp(inputs, self.inputs, rows)
        found = np.stack([np.interp(at, nodes, held[:, c]) for c in range(3)], axis=1)
        return float(CODES_10_BIT * np.abs(found - expected).max())


def greys_off(
    lut: Transform, exact: Transform, to_light: Transform, every: Array | None = None
) -> float:
    """The most that `lut` is off for a grey from `STOPS` in its domain, in 10-bit codes.

    `every` are rising inputs that span the domain, where `lut` does not tell it.
    """
    if every is None:
        low, high = domain_of(lut)[:, 1]
        every = np.linspace(low, high, SIZES_1D[1])
    inputs = greys(_inputs_of_stops(every, np.asarray(to_light.apply(greys(every))[:, 1])))
    return float(CODES_10_BIT * np.abs(lut.apply(inputs) - exact.apply(inputs)).max())


def _inputs_of_stops(inputs: Array, light: Array) -> Array:
    """The inputs of greys from `STOPS` that are spanned; where none is, all at even steps."""
    stops = np.linspace(*STOPS, _TESTS)
    found = np.interp(MID_GREY * 2.0**stops, light, inputs, left=np.nan, right=np.nan)
    found = found[np.isfinite(found)]
    return found if len(found) else np.linspace(inputs[0], inputs[-1], _TESTS)
