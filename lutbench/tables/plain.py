"""Programs in plain numpy: the same bits as the compiled kernels, for few pixels.

A command that looks up a handful of colours (or samples a lattice once) would
pay more for importing numba than for the work; it comes here instead. The
arithmetic is that of `kernels.py`, operation by operation.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.programs import CURVE, TETRAHEDRAL, Program

BLOCK = 16384  # pixels at a time, so that the many temporaries stay small


def run(src: NDArray[Any], dst: NDArray[Any], program: Program) -> None:
    """Run the program over `src` (pixels, 3) into `dst`, both of the pool's type."""
    for start in range(0, len(src), BLOCK):
        planes = np.ascontiguousarray(src[start : start + BLOCK].T)
        for (op, begin, size, _), params in zip(program.ops, program.params, strict=True):
            if op == CURVE:
                planes = _curve(planes, program.pool[begin : begin + 3 * size], params)
            else:
                nodes = program.pool[begin : begin + 4 * size**3].reshape(-1, 4)[:, :3]
                planes = _lattice(planes, nodes, size, params, op == TETRAHEDRAL)
        dst[start : start + BLOCK] = planes.T


def _place(
    plane: NDArray[Any], low: float, steps: float, size: int
) -> tuple[NDArray[np.int64], NDArray[Any]]:
    """The cell of each value and the fraction within it; those of NaN mean nothing."""
    with np.errstate(invalid="ignore", over="ignore"):
        place = np.fmax(np.fmin((plane.astype(np.float64) - low) * steps, size - 1.0), 0.0)
    cell = np.minimum(place.astype(np.int64), size - 2)
    return cell, (place - cell).astype(plane.dtype)


def _curve(planes: NDArray[Any], table: NDArray[Any], params: NDArray[np.float64]) -> NDArray[Any]:
    out = np.empty_like(planes)
    size = table.size // 3
    for c, plane in enumerate(planes):
        cell, part = _place(plane, params[c], params[3 + c], size)
        at = c * size + cell
        value = (1 - part) * table[at] + part * table[at + 1]
        out[c] = np.where(np.isnan(plane), plane, value)
    return out


def _lattice(
    planes: NDArray[Any],
    nodes: NDArray[Any],
    size: int,
    params: NDArray[np.float64],
    tetrahedral: bool,
) -> NDArray[Any]:
    bad = np.isnan(planes).any(axis=0)
    (r_cell, r), (g_cell, g), (b_cell, b) = (
        _place(planes[c], params[c], params[3 + c], size) for c in range(3)
    )
    base = (r_cell * size + g_cell) * size + b_cell
    weigh = _tetrahedra if tetrahedral else _cubes
    out: NDArray[Any] = weigh(nodes, size, base, r, g, b).T.copy()
    out[:, bad] = np.nan
    return out


def _sum_of_four(nodes: NDArray[Any], indices: Any, weights: Any) -> NDArray[Any]:
    a, b, c, d = (
        weight[:, None] * nodes[index] for index, weight in zip(indices, weights, strict=True)
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
