"""Programs in plain numpy: the same bits as the compiled kernels, for few pixels.

For a handful of colours (or one lattice) importing numba takes longer than the work itself.
The arithmetic is that of `kernels.py` and `kernels_steps.py`, operation by operation.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.programs import CLAMP, CODES, CURVE, MATRIX, TETRAHEDRAL, Program

BLOCK_PIXELS = 16384  # pixels at a time, so that the many temporaries stay small


def run(src: NDArray[Any], dst: NDArray[Any], program: Program, peak: float = 1.0) -> None:
    """Apply the program to `src`, shape (n, 3); the result is in `dst`, with 1.0 as code `peak`."""
    number = program.dtype
    # Like the kernel, overflows give infinity or NaN without a warning.
    with np.errstate(all="ignore"):
        for start in range(0, len(src), BLOCK_PIXELS):
            planes = np.ascontiguousarray(src[start : start + BLOCK_PIXELS].T, dtype=number)
            for op, params, table in zip(
                program.ops.tolist(), program.params, program.tables, strict=True
            ):
                planes = _step(planes, op, params, table)
            dst[start : start + BLOCK_PIXELS] = _stored(planes, dst.dtype, peak).T


def _step(
    planes: NDArray[Any],
    op: list[int],
    params: NDArray[np.float64],
    table: NDArray[Any] | None,
) -> NDArray[Any]:
    kind, _, size, how = op
    if table is not None:
        if kind == CURVE:
            return _curve(planes, table, params, how)
        return _lattice(planes, table.reshape(-1, 3), params, (size, how), kind == TETRAHEDRAL)
    if kind == MATRIX:
        return _matrix(planes, params.astype(planes.dtype))
    if kind == CLAMP:
        low, high = params[:2].astype(planes.dtype)
        planes = np.where(planes < low, low, planes)
        return np.where(planes > high, high, planes)
    return np.stack([_power(plane, params[c]) for c, plane in enumerate(planes)])


def _stored(planes: NDArray[Any], dtype: np.dtype[Any], peak: float) -> NDArray[Any]:
    """The planes as `dst` takes them: codes to nearest, halves up, NaN as 0."""
    if dtype.kind != "u":
        return planes.astype(np.float32) if dtype == np.float16 else planes
    most = planes.dtype.type(peak)
    codes = planes * most
    codes = np.where(codes > 0, codes, planes.dtype.type(0))
    codes = np.where(codes < most, codes, most)
    return np.asarray((codes + planes.dtype.type(0.5)).astype(np.int32))


def _matrix(planes: NDArray[Any], m: NDArray[Any]) -> NDArray[Any]:
    r, g, b = planes
    rows = [((m[3 * c] * r + m[3 * c + 1] * g) + m[3 * c + 2] * b) + m[9 + c] for c in range(3)]
    return np.stack(rows)


_LAYOUTS: dict[str, tuple[type, int, int, int]] = {
    "float32": (np.int32, 23, 127, 0x3F3504F3),
    "float64": (np.int64, 52, 1023, 0x3FE6A09E667F3BCD),
}
"""For each float type: integer type of its size, mantissa bits, exponent bias, bits of √½."""


def _power(plane: NDArray[Any], exponent: float) -> NDArray[Any]:
    """`kernels_steps.power` of one channel, operation by operation."""
    number = plane.dtype.type
    power = number(exponent)
    if power == 1:
        return plane
    single = plane.dtype == np.float32
    least = np.finfo(plane.dtype).tiny
    whole_type, bits, bias, half_root = _LAYOUTS[plane.dtype.name]
    above = np.where(plane >= least, plane, number(1)).view(whole_type) - whole_type(half_root)
    places = ((above + (whole_type(bias) << whole_type(bits))) >> whole_type(bits)) - bias
    mask = (whole_type(1) << whole_type(bits)) - whole_type(1)
    mantissa = ((above & mask) + whole_type(half_root)).view(plane.dtype)
    z = (mantissa - number(1)) / (mantissa + number(1))
    series = (_log2_single if single else _log2_double)(z * z)
    y = power * (places.astype(plane.dtype) + (number(2.8853900817779268) * z) * series)
    lowest = number(-126.0 if single else -1022.0)
    highest = number(127.99999 if single else 1023.9999999999999)
    y = np.where(y > lowest, y, lowest)
    y = np.where(y < highest, y, highest)
    whole = np.trunc(y + np.where(y > 0, number(0.5), number(-0.5)))
    t = (y - whole) * number(0.6931471805599453)
    raised = (_exp_single if single else _exp_double)(t)
    shifted = whole.astype(whole_type) << whole_type(bits)
    raised = (raised.view(whole_type) + shifted).view(plane.dtype)
    raised = np.where(plane >= least, raised, number(0))
    raised = np.where(plane < np.inf, raised, number(np.inf))
    return np.where(plane > 0, raised, plane)


def _log2_double(q: NDArray[Any]) -> NDArray[Any]:
    series = np.full_like(q, 1 / 21)
    for under in (19, 17, 15, 13, 11, 9, 7, 5, 3):
        series = series * q + 1 / under
    return np.asarray(series * q + 1)


def _log2_single(q: NDArray[Any]) -> NDArray[Any]:
    f = np.float32
    low, high = f(1) + q * f(1 / 3), f(1 / 5) + q * f(1 / 7)
    return np.asarray(low + q * q * (high + q * q * f(1 / 9)))


def _exp_double(t: NDArray[Any]) -> NDArray[Any]:
    series = np.full_like(t, 1 / math.factorial(13))
    for over in range(12, 1, -1):
        series = series * t + 1 / math.factorial(over)
    return np.asarray((series * t + 1) * t + 1)


def _exp_single(t: NDArray[Any]) -> NDArray[Any]:
    f, square = np.float32, t * t
    low = (f(1) + t) + square * (f(0.5) + t * f(1 / 6))
    middle, high = f(1 / 24) + t * f(1 / 120), f(1 / 720) + t * f(1 / 5040)
    return np.asarray(low + (square * square) * (middle + square * high))


def _place(
    plane: NDArray[Any], c: int, params: NDArray[np.float64], size: int, how: int
) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """The cell of each value and the fraction within it; undefined for NaN."""
    if how == CODES:
        number = plane.dtype.type
        peak, share, last = number(params[6]), number(1 / params[6]), number(size - 1)
        place = np.fmax(np.fmin(plane * last, last * peak), number(0))
        cell = np.minimum((place * share).astype(np.int64), size - 2)
        return cell, np.asarray((place - cell.astype(plane.dtype) * peak) * share)
    found = (plane.astype(np.float64) - params[c]) * params[3 + c]
    found = np.fmax(np.fmin(found, size - 1.0), 0.0)
    cell = np.minimum(found.astype(np.int64), size - 2)
    return cell, (found - cell).astype(plane.dtype)


def _curve(
    planes: NDArray[Any], table: NDArray[Any], params: NDArray[np.float64], how: int
) -> NDArray[Any]:
    out = np.empty_like(planes)
    for c, plane in enumerate(planes):
        cell, part = _place(plane, c, params, len(table), how)
        low, high = (table[at, c].astype(plane.dtype) for at in (cell, cell + 1))
        value = (1 - part) * low + part * high
        out[c] = np.where(np.isnan(plane), plane, value)
    return out


def _lattice(
    planes: NDArray[Any],
    nodes: NDArray[Any],
    params: NDArray[np.float64],
    found: tuple[int, int],
    tetrahedral: bool,
) -> NDArray[Any]:
    size, how = found
    bad = np.isnan(planes).any(axis=0)
    (r_cell, r), (g_cell, g), (b_cell, b) = (
        _place(planes[c], c, params, size, how) for c in range(3)
    )
    base = (r_cell * size + g_cell) * size + b_cell
    weigh = _tetrahedra if tetrahedral else _cubes
    out: NDArray[Any] = weigh(nodes, size, base, r, g, b).T.copy()
    out[:, bad] = np.nan
    return out


def _sum_of_four(nodes: NDArray[Any], indices: Any, weights: Any) -> NDArray[Any]:
    # Of a large table only the nodes that are met become numbers of the type computed in.
    a, b, c, d = (
        weight[:, None] * nodes[index].astype(weight.dtype, copy=False)
        for index, weight in zip(indices, weights, strict=True)
    )
    return np.asarray((a + b) + (c + d))


def _tetrahedra(
    nodes: NDArray[Any],
    size: int,
    base: NDArray[np.int64],
    r: NDArray[Any],
    g: NDArray[Any],
    b: NDArray[Any],
) -> NDArray[Any]:
    upper, lower = np.maximum(r, g), np.minimum(r, g)
    largest = np.maximum(upper, b)
    middle = np.maximum(np.minimum(upper, b), lower)
    smallest = np.minimum(lower, b)
    r_step, g_step, b_step = size * size, size, 1
    first = np.where((r >= g) & (r >= b), r_step, np.where(g >= b, g_step, b_step))
    final = np.where((r >= b) & (g >= b), b_step, np.where(r >= g, g_step, r_step))
    across = r_step + g_step + b_step
    return _sum_of_four(
        nodes,
        (base, base + first, base + across - final, base + across),
        (1 - largest, largest - middle, middle - smallest, smallest),
    )


def _cubes(
    nodes: NDArray[Any],
    size: int,
    base: NDArray[np.int64],
    r: NDArray[Any],
    g: NDArray[Any],
    b: NDArray[Any],
) -> NDArray[Any]:
    weights = ((1 - r) * (1 - g), (1 - r) * g, r * (1 - g), r * g)
    faces = (
        _sum_of_four(
            nodes,
            [base + end + step for step in (0, size, size * size, size * size + size)],
            weights,
        )
        for end in (0, 1)
    )
    low, high = faces
    return np.asarray((1 - b)[:, None] * low + b[:, None] * high)
