"""A chain of steps prepared for a device: its constants, and its tables in device memory.

Tables stay on the device as long as their LUT exists.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.gpu.arrays import cupy
from lutbench.tables.gpu.pairs import Pairs, pairs
from lutbench.tables.gpu.source import FOUND, PAIRED, QUICK
from lutbench.tables.programs import CURVE, PARAMS, TETRAHEDRAL, ByTable, Step, folded

ROUNDING = 2.0**-24
"""Relative rounding error of float32."""

SLACK = {"float32": 5e-7, "float16": 5e-6, "uint16": 5e-6, "uint8": 5e-6}
"""Error of a result, in signal, that a rounded place in a table may cause, and that rounded nodes
may: each a quarter of what is promised for float32, and less than half a 16-bit code."""


@dataclass(frozen=True, eq=False)
class Prepared:
    """What a launch needs: the kinds of the steps, their constants, their tables."""

    steps: tuple[tuple[int, int], ...]
    params: NDArray[Any]
    tables: tuple[Any, ...]


@dataclass(frozen=True, eq=False)
class _DeviceTable:
    """A table in the memory of a device, and the widest step between two of its nodes."""

    table: Any
    steepest: float
    pairs: Pairs | None = None


def prepare(steps: Sequence[Step], number: str, peak: float, types: tuple[str, str]) -> Prepared:
    """The steps for the current device, computed in `number`, for pixels of these two types.

    `peak` is the code of 1.0.
    """
    plan = folded(steps, peak)
    rows, dtype = max(1, len(plan)), np.dtype(number)
    layout = [("c", dtype, (rows, PARAMS)), ("size", dtype, (rows,))]
    params = np.zeros((), np.dtype(layout, align=True))
    kinds, tables = [], []
    for row, step in enumerate(plan):
        how, constants = FOUND, step.params
        if step.table is not None:
            # Beside other steps, unpacking the pairs takes longer than is gained.
            in_pairs = len(plan) == 1 and step.op == TETRAHEDRAL
            slack = SLACK.get(types[1], 0.0)
            on_device = _on_device(step, dtype, slack, in_pairs)
            how = how_found(step, on_device.steepest, slack, dtype)
            constants = _line(step) if how == QUICK else _in_two(step.params, dtype)
            if on_device.pairs is not None:
                how = PAIRED
                constants = np.append(constants, [on_device.pairs.unit, on_device.pairs.low])
            params["size"][row] = step.table.shape[0]
            tables.append(on_device.table)
        params["c"][row, : len(constants)] = constants
        kinds.append((step.op, how))
    return Prepared(tuple(kinds), params, tuple(tables))


def how_found(step: Step, steepest: float, slack: float, dtype: np.dtype[Any]) -> int:
    """`QUICK` if float32 finds a place in the table accurately enough, else `FOUND`.

    Over a domain of 0..1 float32 is exact. For others a place is off by some roundings of
    the domain's width, and a result by that share of the table's widest step, on each axis.
    """
    with np.errstate(all="ignore"):
        size, (scale, shift) = _size(step), np.split(_line(step), 2)
        exact = (scale == 1).all() and (shift == 0).all()
        rounded = 0.0 if exact else float((2 + 2 * np.abs(shift)).max()) * ROUNDING
        off = 3 * rounded * (size - 1) * steepest
    fits = off <= slack and bool((np.abs(scale) < np.finfo(np.float32).max).all())
    return QUICK if dtype == np.float32 and fits else FOUND


def _size(step: Step) -> int:
    assert step.table is not None  # the caller has seen to it
    return len(step.table)


def _line(step: Step) -> NDArray[np.float64]:
    """Factors and offsets, shape (6,), that take each channel's domain to 0..1."""
    scale = step.params[3:6] / (_size(step) - 1)
    return np.concatenate([scale, -step.params[:3] * scale])


def _in_two(params: NDArray[np.float64], dtype: np.dtype[Any]) -> NDArray[Any]:
    """First input and rate of a table, each as a rounded number and its rounding error."""
    with np.errstate(over="ignore", invalid="ignore"):
        low, rate = (params[at : at + 3].astype(dtype) for at in (0, 3))
        errors = [np.nan_to_num(params[at : at + 3] - near) for at, near in ((0, low), (3, rate))]
    return np.concatenate([low, errors[0], rate, errors[1]])


_known: ByTable[_DeviceTable] = ByTable()


def _on_device(step: Step, dtype: np.dtype[Any], slack: float, in_pairs: bool) -> _DeviceTable:
    """The table of a step in the memory of the current device; a read-only table is cached."""
    cp = cupy()
    table = step.table
    assert table is not None  # the caller has seen to it
    key = (dtype.name, in_pairs, int(cp.cuda.runtime.getDevice()))
    if (known := _known.get(table, *key)) is not None:
        return known
    axes = range(table.ndim - 1)
    with np.errstate(all="ignore"):
        steepest = max(float(np.abs(np.diff(table, axis=axis)).max(initial=0)) for axis in axes)
    quick = in_pairs and how_found(step, steepest, slack, dtype) == QUICK
    nodes = pairs(table, slack) if quick else None
    if nodes is not None:
        on_device = _DeviceTable(cp.asarray(nodes.nodes), steepest, nodes)
    else:
        on_device = _DeviceTable((_rows if step.op == CURVE else _nodes)(table, dtype), steepest)
    cp.cuda.get_current_stream().synchronize()  # other streams may use it next
    return _known.keep(on_device, table, *key)


def _rows(table: NDArray[Any], dtype: np.dtype[Any]) -> Any:
    """A curve's rows, each with the step to the next row, one plane per channel."""
    most = np.finfo(dtype).max
    rows = np.ascontiguousarray(table.T, np.float64)
    steps = np.clip(np.diff(rows, axis=1, append=rows[:, -1:]), -most, most)
    return cupy().asarray(np.stack([rows, steps], axis=-1).astype(dtype))


def _nodes(table: NDArray[Any], dtype: np.dtype[Any]) -> Any:
    """A lattice with four numbers per node, and the last node repeated along each edge."""
    inner = np.minimum(np.arange(table.shape[0] + 1), table.shape[0] - 1)
    cube = np.zeros((*[inner.size] * 3, 4), dtype)
    cube[..., :3] = table[np.ix_(inner, inner, inner)]
    return cupy().asarray(cube)
