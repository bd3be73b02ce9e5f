"""Interpolation through points: linear at equal steps, and the monotone cubic (PCHIP).

F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic
interpolants", SIAM J. Sci. Stat. Comput. 5, 1984; the ends by the three-point formula of
C. Moler, "Numerical Computing with MATLAB", 2004, chapter 3. The same as scipy's
``PchipInterpolator``, but importing that takes a third of a second, more than many commands.
"""

from __future__ import annotations

import numpy as np

from lutbench.model.transforms import Array

FLAT = 1e-300
"""The rise of points up to which they count as one: a reciprocal of less could be infinite."""


class Pchip:
    """A curve through (x, y), which rises where the points rise and never overshoots.

    Parameters
    ----------
    x
        Shape (n,), rising, n ≥ 2.
    y
        Shape (n,) or (n, k): k curves over the same x.

    Outside its ends a curve continues as its first and last cubic.

    >>> Pchip(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 1.0]))([0.5, 1.5]).tolist()
    [0.6875, 1.0]
    """

    def __init__(self, x: Array, y: Array) -> None:
        self.x = np.asarray(x, dtype=np.float64)
        self.y = np.asarray(y, dtype=np.float64)
        self.slopes = _slopes(self.x, self.y)

    def __call__(self, at: object) -> Array:
        """The curve at `at`: its shape, and k last where there are k curves."""
        t, width, low, begin, a, b = self._pieces(at)
        return np.asarray(low + t * (width * begin + t * (a + t * b)))

    def slope(self, at: object) -> Array:
        """The slope of the curve at `at`."""
        t, width, _, begin, a, b = self._pieces(at)
        return np.asarray((width * begin + t * (2 * a + 3 * t * b)) / width)

    def _pieces(self, at: object) -> tuple[Array, ...]:
        """For each place: position in its piece, the piece's width, first value and slope, and
        the two other coefficients of the cubic."""
        place = np.asarray(at, dtype=np.float64)
        index = np.clip(np.searchsorted(self.x, place, side="right") - 1, 0, len(self.x) - 2)
        width = self.x[index + 1] - self.x[index]
        t = (place - self.x[index]) / width
        if self.y.ndim > 1:
            t, width = t[..., None], width[..., None]
        low, rise = self.y[index], self.y[index + 1] - self.y[index]
        begin, end = self.slopes[index], self.slopes[index + 1]
        a, b = 3 * rise - width * (2 * begin + end), width * (begin + end) - 2 * rise
        return t, width, low, begin, a, b


def _slopes(x: Array, y: Array) -> Array:
    """The slope at each point: the weighted harmonic mean of the chords beside it; 0 at an
    extremum."""
    width = np.diff(x).reshape(-1, *[1] * (y.ndim - 1))
    chord = np.diff(y, axis=0) / width
    if len(x) == 2:
        return np.concatenate([chord, chord])
    slopes = np.empty_like(y)
    before, after = chord[:-1], chord[1:]
    heavy, light = 2 * width[1:] + width[:-1], width[1:] + 2 * width[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (heavy + light) / (heavy / before + light / after)
    slopes[1:-1] = np.where(np.sign(before) * np.sign(after) > 0, mean, 0.0)
    slopes[0] = _end(width[0], width[1], chord[0], chord[1])
    slopes[-1] = _end(width[-1], width[-2], chord[-1], chord[-2])
    return slopes


def _end(width: Array, next_width: Array, chord: Array, next_chord: Array) -> Array:
    """The slope at an end, of the parabola through three points, limited to stay monotone."""
    slope = ((2 * width + next_width) * chord - width * next_chord) / (width + next_width)
    steep = (np.sign(chord) != np.sign(next_chord)) & (np.abs(slope) > 3 * np.abs(chord))
    slope = np.where(steep, 3 * chord, slope)
    return np.asarray(np.where(np.sign(slope) == np.sign(chord), slope, 0.0))


def interp_uniform(values: Array, first: float, last: float, table: Array) -> Array:
    """The table interpolated linearly at `values`, any shape, and constant outside its ends.

    `first` and `last` are the positions of its end points. NumPy's `interp` gives the same, but
    searches for each position, which takes up to eight times as long.

    >>> interp_uniform(np.array([-1.0, 0.25, 9.0]), 0.0, 1.0, np.array([0.0, 4.0, 6.0])).tolist()
    [0.0, 2.0, 6.0]
    """
    top = len(table) - 1
    place = (values - first) * (top / (last - first))
    np.clip(place, 0, top, out=place)
    cell = np.minimum(place.astype(np.int64), top - 1)
    place -= cell
    below = table[cell]
    return np.asarray(below + place * (table[cell + 1] - below))


def interp_rows(at: Array, points: Array, values: Array) -> Array:
    """`np.interp` of each row of `at` (s, ...) over its own row of `points`, with shared `values`.

    `points` are (s, n) and rise, n a power of two from 2 on; `values` are (n,). NaN outside the
    points. All rows are halved together, which takes half as long as one search after another.

    >>> at, points = np.array([[0.5], [3.0]]), np.array([[0.0, 1.0], [2.0, 4.0]])
    >>> interp_rows(at, points, np.array([0.0, 10.0])).tolist()
    [[5.0], [5.0]]
    """
    count, size = points.shape
    flat = points.ravel()
    first = np.arange(0, count * size, size).reshape(count, *(1,) * (at.ndim - 1))
    cell, step = np.zeros(at.shape, np.intp) + first, size // 2
    while step:
        cell += step * (flat.take(cell + step) <= at)
        step //= 2
    np.minimum(cell, first + size - 2, out=cell)
    below = flat.take(cell)
    rise = flat.take(cell + 1) - below
    cell -= first
    low = values.take(cell)
    slope = (values.take(cell + 1) - low) / np.where(rise > FLAT, rise, 1.0)
    begin, end = (points[:, place].reshape(first.shape) for place in (0, -1))
    with np.errstate(invalid="ignore"):  # infinity, which is outside
        found = np.where(at == end, values[-1], slope * (at - below) + low)
    return np.where((at >= begin) & (at <= end), found, np.nan)
