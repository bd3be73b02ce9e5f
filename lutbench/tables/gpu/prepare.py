"""A chain of steps laid out for a device: its constants, and its tables in device memory.

Tables stay on the device as long as the LUT that they belong to lives.
"""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.gpu.arrays import cupy
from lutbench.tables.gpu.source import FROM_ZERO
from lutbench.tables.programs import CODES, CURVE, IN_FLOAT64, PARAMS, Step, finding, folded


@dataclass(frozen=True, eq=False)
class Prepared:
    """What a launch needs of a chain: the steps' kinds, their constants, their tables."""

    steps: tuple[tuple[int, int], ...]
    params: NDArray[Any]
    tables: tuple[Any, ...]


def prepare(steps: Sequence[Step], number: str, peak: float) -> Prepared:
    """The steps for the current device, computed in `number`; `peak` is the code of 1.0."""
    plan = folded(steps, peak)
    rows, dtype = max(1, len(plan)), np.dtype(number)
    layout = [("c", dtype, (rows, PARAMS)), ("size", np.int32, (rows,))]
    params = np.zeros((), np.dtype(layout, align=True))
    kinds, tables = [], []
    for row, step in enumerate(plan):
        how = IN_FLOAT64
        params["c"][row] = step.params
        if step.table is not None:
            size = step.table.shape[0]
            how = finding(step.params, size, dtype, peak if row == 0 else 1.0)
            params["size"][row] = size
            if how == CODES:
                params["c"][row, :2] = peak, 1 / peak
            else:
                params["c"][row] = _in_two(step.params, dtype)
            if how == IN_FLOAT64 and not step.params[:3].any():
                how = FROM_ZERO
            tables.append(_on_device(step, dtype, bricks=len(plan) == 1))
        kinds.append((step.op, how))
    return Prepared(tuple(kinds), params, tuple(tables))


def _in_two(params: NDArray[np.float64], dtype: np.dtype[Any]) -> NDArray[Any]:
    """First input and rate of a table, each as a number and what it leaves over."""
    with np.errstate(over="ignore", invalid="ignore"):
        low, rate = (params[at : at + 3].astype(dtype) for at in (0, 3))
        rests = [np.nan_to_num(params[at : at + 3] - near) for at, near in ((0, low), (3, rate))]
    return np.concatenate([low, rests[0], rate, rests[1]])


_known: dict[tuple[int, str, bool, int], tuple[weakref.ref[Any], Any]] = {}


def _on_device(step: Step, dtype: np.dtype[Any], *, bricks: bool) -> Any:
    """The table of a step in the memory of the current device; a read-only one is remembered."""
    cp = cupy()
    table = step.table
    assert table is not None  # the caller has seen to it
    key = (id(table), dtype.name, bricks, int(cp.cuda.runtime.getDevice()))
    known = _known.get(key)
    if known is not None and known[0]() is table:
        return known[1]
    laid = cp.asarray(_rows(table, dtype) if step.op == CURVE else _nodes(table, dtype, bricks))
    cp.cuda.get_current_stream().synchronize()  # other streams may use it next
    if not table.flags.writeable:

        def forget(gone: weakref.ref[Any]) -> None:
            kept = _known.get(key)
            if kept is not None and kept[0] is gone:
                _known.pop(key, None)

        _known[key] = (weakref.ref(table, forget), laid)
    return laid


def _rows(table: NDArray[Any], dtype: np.dtype[Any]) -> NDArray[Any]:
    """A curve's rows, each with its successor, one plane a channel; the last row is its own."""
    rows = np.ascontiguousarray(table.T, dtype)
    return np.stack([rows, np.concatenate([rows[:, 1:], rows[:, -1:]], axis=1)], axis=-1)


def _nodes(table: NDArray[Any], dtype: np.dtype[Any], bricks: bool) -> NDArray[Any]:
    """A lattice, four numbers a node, of an even size past its own; nodes past the end repeat it.

    In bricks, the nodes of each 2 × 2 × 2 stand together.
    """
    size = table.shape[0]
    half = size // 2 + 1
    inner = np.minimum(np.arange(2 * half), size - 1)
    cube = np.zeros((2 * half, 2 * half, 2 * half, 4), dtype)
    cube[..., :3] = table[np.ix_(inner, inner, inner)]
    if not bricks:
        return cube
    return np.ascontiguousarray(
        cube.reshape(half, 2, half, 2, half, 2, 4).transpose(0, 2, 4, 1, 3, 5, 6)
    )
