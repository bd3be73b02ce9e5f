"""Change the size of a LUT by the best of several methods.

Which method is best is measured on the LUT itself. For a larger size every second node is
removed, and each method has to predict it (an even or very small size is enlarged by
`UNMEASURED` instead); for a smaller size each result is compared with the original.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from lutbench import long_work
from lutbench.algebra.result import Change, Reworked, code_error, difference, probe
from lutbench.errors import LutbenchError
from lutbench.model.transforms import Array
from lutbench.tables.cells import positions, weight_matrix
from lutbench.tables.lut import SIZES_3D, Interpolation, Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import LARGEST_SIGNAL, SLAB_NODES, check_size, sample

METHODS = ("linear", "pchip", "cubic", "fit")
UNMEASURED = "pchip"
"""The method for a larger size if none can be measured: it never overshoots."""

Maker = Callable[[Array, int, Interpolation], Array]


def resample(lut: Lut, size: int, method: str = "best") -> Reworked:
    """The LUT at another size; the arguments are those of `lutbench.resample`.

    The error is the difference from the given LUT with its own interpolation.

    Raises
    ------
    LutbenchError
        When the size is out of range or the method is not known.
    """
    if isinstance(lut, ShaperLut3D):
        inner = resample(lut.lut, size, method)
        assert isinstance(inner.lut, Lut3D)
        result: Lut = replace(lut, lut=inner.lut)
        return Reworked(result, difference(lut, result, lut.domain), inner.changes)
    if isinstance(lut, Lut1D):
        return _resampled_curve(lut, size, method)
    check_size(size, SIZES_3D)
    if method not in (*METHODS, "best"):
        raise LutbenchError(
            f"no method is named {method!r}", accepted=", ".join((*METHODS, "best"))
        )
    table = np.asarray(lut.table, dtype=np.float64)
    scores = _scores(lut, table, size) if method == "best" else {}
    chosen = min(scores, key=lambda name: scores[name]) if scores else method
    if chosen == "best":  # too few nodes to measure
        chosen = UNMEASURED
    result = replace(lut, table=_MAKERS[chosen](table, size, lut.interpolation))
    error = difference(lut, result, lut.domain)
    message = f"size {lut.size} to {size} by the method {chosen}"
    if scores:
        tried = ", ".join(f"{name} {value:.3f}" for name, value in sorted(scores.items()))
        message += f"; mean errors in 10-bit codes: {tried}"
    return Reworked(result, error, (Change("resampled", message, error.mean),))


def _scores(lut: Lut3D, table: Array, size: int) -> dict[str, float]:
    """The mean error of each method that suits the case, in 10-bit codes; empty if unmeasurable."""
    if size == lut.size:
        return {"linear": 0.0}
    if size > lut.size:
        coarse = table[::2, ::2, ::2]
        if lut.size % 2 == 0 or coarse.shape[0] < 5:
            return {}
        hidden = np.ones(table.shape[:3], bool)
        hidden[::2, ::2, ::2] = False
        return {
            name: code_error(
                _MAKERS[name](coarse, lut.size, lut.interpolation)[hidden], table[hidden]
            ).mean
            for name in ("linear", "pchip", "cubic")
        }
    points = probe(lut.domain)
    expected = lut.apply(points)
    return {
        name: code_error(
            replace(lut, table=_MAKERS[name](table, size, lut.interpolation)).apply(points),
            expected,
        ).mean
        for name in METHODS
    }


def _linear(table: Array, size: int, interpolation: Interpolation) -> Array:
    return sample(Lut3D(table, interpolation=interpolation), size).table


def _pchip(table: Array, size: int, interpolation: Interpolation) -> Array:
    from scipy.interpolate import PchipInterpolator

    return _along_axes(table, size, PchipInterpolator)


def _cubic(table: Array, size: int, interpolation: Interpolation) -> Array:
    from scipy.interpolate import CubicSpline

    if table.shape[0] < 4:
        return _linear(table, size, interpolation)
    return _along_axes(table, size, CubicSpline)


def _along_axes(table: Array, size: int, maker: Any) -> Array:
    """A one-dimensional interpolator along r, then g, then b; clamped to the table's range."""
    result = table
    for axis in range(3):
        result = _along(result, size, axis, maker)
    low, high = table.min(axis=(0, 1, 2)), table.max(axis=(0, 1, 2))
    return np.clip(result, low, high, out=result)


def _along(table: Array, size: int, axis: int, maker: Any) -> Array:
    """Interpolate along one axis, slab by slab, since an interpolator is many times its table."""
    old, new = np.linspace(0, 1, table.shape[axis]), np.linspace(0, 1, size)
    shape = [*table.shape]
    shape[axis] = size
    result = np.empty(shape)
    across = 1 if axis == 0 else 0
    thick = max(1, SLAB_NODES * table.shape[across] // table.size)
    for start in range(0, table.shape[across], thick):
        place = (slice(None),) * across + (slice(start, start + thick),)
        # The reciprocal slopes of subnormal numbers are infinite, and their harmonic mean is 0.
        with np.errstate(over="ignore", divide="ignore"):
            result[place] = maker(old, table[place], axis=axis)(new)
        long_work.report("resampling", None)
    return result


def _fit(table: Array, size: int, interpolation: Interpolation) -> Array:
    """The nodes whose interpolation is nearest to the LUT in the least-squares sense."""
    from scipy.sparse.linalg import cg

    reached = float(np.abs(table).max())
    if reached > LARGEST_SIGNAL:  # squares of larger values overflow float32
        return _fit(table / reached, size, interpolation) * reached
    lut = Lut3D(table, interpolation=interpolation)
    start = sample(lut, size).table.reshape(-1, 3)
    count = min(12 * size**3, 600_000)
    points = np.random.default_rng(11).random((count, 3))
    unit = np.array([[0.0] * 3, [1.0] * 3])
    matrix = weight_matrix(interpolation, positions(points, unit, size), size)
    # A small weight on the sampled nodes keeps every node determined.
    normal = matrix.T @ matrix
    normal.setdiag(normal.diagonal() + 0.5)
    wanted = matrix.T @ np.asarray(lut.apply(points)) + 0.5 * start
    solved = np.stack(
        [cg(normal, wanted[:, c], x0=start[:, c], rtol=1e-8, maxiter=60)[0] for c in range(3)],
        axis=1,
    )
    low, high = table.min(axis=(0, 1, 2)), table.max(axis=(0, 1, 2))
    return np.asarray(np.clip(solved, low, high).reshape(size, size, size, 3))


_MAKERS: dict[str, Maker] = {"linear": _linear, "pchip": _pchip, "cubic": _cubic, "fit": _fit}


def _resampled_curve(lut: Lut1D, size: int, method: str) -> Reworked:
    from scipy.interpolate import PchipInterpolator

    if method not in ("linear", "pchip", "best"):
        raise LutbenchError(
            f"no method for curves is named {method!r}", accepted="linear, pchip, best"
        )
    if method == "best":
        method = "pchip" if size > lut.size > 3 else "linear"
    table = lut.table.astype(np.float64)
    old, new = np.linspace(0, 1, lut.size), np.linspace(0, 1, size)
    if method == "pchip":
        rows = PchipInterpolator(old, table)(new)
    else:
        rows = np.stack([np.interp(new, old, table[:, c]) for c in range(3)], axis=1)
    result = Lut1D(rows, lut.domain, lut.title, lut.comments)
    points = np.linspace(lut.domain[0], lut.domain[1], 4 * max(size, lut.size) + 1)
    error = code_error(lut.apply(points), result.apply(points))
    message = f"{lut.size} rows to {size} by the method {method}"
    return Reworked(result, error, (Change("resampled", message, error.mean),))
