"""Programs: LUTs laid out for the kernels, as a list of steps and one pool of numbers.

A program is three arrays, so that one compiled kernel runs them all:

- ``ops``, int64 (steps, 4): what the step is, where its table begins in the
  pool, the table's size, and for a lattice whether float32 places it exactly;
- ``params``, float64 (steps, 16): the step's constants; for a table the first
  input of each channel, then the table steps per unit of input;
- ``pool``: the tables, in the floating-point type that the pixels have.

In the pool a lattice has four numbers a node (the fourth is 0), so that a node
is read in one go; a curve is one plane a channel.
"""

from __future__ import annotations

import math
import threading
import weakref
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

CURVE, TETRAHEDRAL, TRILINEAR, MATRIX, CDL = range(5)
LATTICES = {"tetrahedral": TETRAHEDRAL, "trilinear": TRILINEAR}
PARAMS = 16


@dataclass(frozen=True, eq=False)
class Program:
    """The steps, their constants and their tables; see the module's own text."""

    ops: NDArray[np.int64]
    params: NDArray[np.float64]
    pool: NDArray[Any]


@dataclass(frozen=True, eq=False)
class Step:
    """One step before it is laid out: its constants and, for a LUT, its table."""

    op: int
    params: NDArray[np.float64]
    table: NDArray[Any] | None = None


def table_step(op: int, table: NDArray[Any], domain: NDArray[np.float64]) -> Step:
    """The step of a 1D table (n, 3) or a lattice (n, n, n, 3) over `domain` (2, 3)."""
    params = np.zeros(PARAMS)
    params[:3] = domain[0]
    params[3:6] = (table.shape[0] - 1) / (domain[1] - domain[0])
    return Step(op, params, table)


def program(steps: tuple[Step, ...], dtype: DTypeLike) -> Program:
    """Lay the steps out for pixels that are computed in `dtype`, float32 or float64."""
    dtype = np.dtype(dtype)
    ops = np.zeros((len(steps), 4), np.int64)
    params = np.zeros((len(steps), PARAMS))
    tables: list[NDArray[Any]] = []
    begin = 0
    for row, step in enumerate(steps):
        ops[row, 0] = step.op
        params[row] = step.params
        if step.table is not None:
            laid = _laid_out(step.table, dtype)
            exact = _placed_exactly(step.params)
            ops[row, 1:] = begin, step.table.shape[0], exact
            tables.append(laid)
            begin += laid.size
    pool = tables[0] if len(tables) == 1 else np.concatenate([np.zeros(0, dtype), *tables])
    return Program(ops, params, pool)


def _placed_exactly(params: NDArray[np.float64]) -> bool:
    """Whether float32 finds the place in the lattice without any rounding.

    True where the domain begins at 0 and the steps a unit are a power of two,
    as with 17, 33 or 65 nodes over 0..1; all else is placed in float64.
    """
    return all(low == 0 for low in params[:3]) and all(
        math.frexp(steps)[0] == 0.5 and 1 <= steps <= 256 for steps in params[3:6]
    )


_laid: dict[tuple[int, np.dtype[Any]], tuple[weakref.ref[NDArray[Any]], NDArray[Any]]] = {}
_laid_lock = threading.Lock()


def _laid_out(table: NDArray[Any], dtype: np.dtype[Any]) -> NDArray[Any]:
    """The table as the kernels read it; remembered as long as a read-only table lives."""
    if table.flags.writeable:
        return _lay_out(table, dtype)
    key = (id(table), dtype)
    known = _laid.get(key)
    if known is not None and known[0]() is table:
        return known[1]
    laid = _lay_out(table, dtype)

    def forget(_: object) -> None:
        with _laid_lock:
            kept = _laid.get(key)
            if kept is not None and kept[0]() is None:
                del _laid[key]

    with _laid_lock:
        _laid[key] = (weakref.ref(table, forget), laid)
    return laid


def _lay_out(table: NDArray[Any], dtype: np.dtype[Any]) -> NDArray[Any]:
    if table.ndim == 2:
        return np.ascontiguousarray(table.T, dtype=dtype).reshape(-1)
    padded = np.zeros((*table.shape[:3], 4), dtype)
    padded[..., :3] = table
    return padded.reshape(-1)
