"""Programs: transforms as steps, laid out for the kernels as three arrays that one kernel runs.

- ``ops``, int64 (steps, 4): what the step is; for a table where it begins in
  the pool, its size, and how the place of a value in it is found;
- ``params``, float64 (steps, 12): the step's constants;
- ``pool``: the tables, in the floating-point type that is computed in; laid out when a
  kernel first asks for it, since numpy reads the tables as they are.

========== ==================================================================
step       constants
========== ==================================================================
a table    first input of each channel; table steps per unit of input of each
           channel; the code of 1.0, where the first input is codes
matrix     nine numbers row by row, three offsets
clamp      lowest, highest
power      one exponent a channel
========== ==================================================================

In the pool a lattice has four numbers a node (the fourth is 0), so that a node
is read in one go; a curve is one plane a channel.
"""

from __future__ import annotations

import math
import weakref
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.model.grade import Cdl, CdlInverse, Saturation
from lutbench.model.transforms import Clamp, Matrix, Transform, steps_of
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

CURVE, TETRAHEDRAL, TRILINEAR, MATRIX, CLAMP, POWER = range(6)
TABLES = (CURVE, TETRAHEDRAL, TRILINEAR)
LATTICES = {"tetrahedral": TETRAHEDRAL, "trilinear": TRILINEAR}
IN_FLOAT64, EXACT, CODES = range(3)  # how a place in a table is found
PARAMS = 12
"""Numbers of a step: a matrix has the most, nine and an offset of three."""

TYPES = ("uint8", "uint16", "float16", "float32", "float64")
"""Of pixels that a program takes and gives."""


@dataclass(frozen=True, eq=False)
class Program:
    """The steps, their constants and their tables; see the module's own text."""

    ops: NDArray[np.int64]
    params: NDArray[np.float64]
    tables: tuple[NDArray[Any] | None, ...]
    """One a step, as it was given; None for a step without."""
    dtype: np.dtype[Any]
    """The type that is computed in."""

    @cached_property
    def pool(self) -> NDArray[Any]:
        """The tables as the kernels read them."""
        tables = [each for each in self.tables if each is not None]
        if len(tables) == 1:
            return _laid_out(tables[0], self.dtype)
        sizes = [_laid_size(each) for each in tables]
        pool = np.zeros(sum(sizes), self.dtype)
        for table, end, size in zip(tables, accumulate(sizes), sizes, strict=True):
            _lay_out(table, pool[end - size : end])
        return pool


@dataclass(frozen=True, eq=False)
class Step:
    """One step before it is laid out: its constants and, for a LUT, its table."""

    op: int
    params: NDArray[np.float64]
    table: NDArray[Any] | None = None


def table_step(op: int, table: NDArray[Any], domain: NDArray[np.float64]) -> Step:
    """The step of a 1D table (n, 3) or a lattice (n, n, n, 3) over `domain` (2, 3)."""
    with np.errstate(over="ignore"):  # over a domain of no width to speak of
        scale = (table.shape[0] - 1) / (domain[1] - domain[0])
    return _step(op, domain[0], scale, table=table)


def matrix_step(matrix: ArrayLike, offset: ArrayLike = (0.0, 0.0, 0.0)) -> Step:
    """The step of a (3, 3) matrix and a (3,) offset."""
    return _step(MATRIX, np.reshape(matrix, 9), offset)


def clamp_step(low: float, high: float) -> Step:
    """The step that holds values between two limits."""
    return _step(CLAMP, [low, high])


def power_step(power: ArrayLike) -> Step:
    """The step that raises what is over 0 to the power of its channel."""
    return _step(POWER, power)


def program(steps: Iterable[Step], dtype: DTypeLike, peak: float = 1.0) -> Program:
    """Lay the steps out for pixels that are computed in `dtype`, float32 or float64.

    `peak` is the code of 1.0 where the pixels come as codes. Matrices that
    follow each other become one.
    """
    dtype = np.dtype(dtype)
    plan = folded(steps, peak)
    ops = np.zeros((len(plan), 4), np.int64)
    params = np.zeros((len(plan), PARAMS))
    begin = 0
    for row, step in enumerate(plan):
        ops[row, 0] = step.op
        params[row] = step.params
        if step.table is not None:
            size = step.table.shape[0]
            how = lookup_method(step.params, size, dtype, peak if row == 0 else 1.0)
            ops[row, 1:] = begin, size, how
            params[row, 6] = peak
            begin += _laid_size(step.table)
    return Program(ops, params, tuple(step.table for step in plan), dtype)


def folded(steps: Iterable[Step], peak: float = 1.0) -> list[Step]:
    """The fewest steps that do the same, for pixels whose 1.0 is the code `peak`."""
    return _joined(_from_codes(list(steps), peak) if peak != 1 else list(steps))


def _step(op: int, *constants: ArrayLike, table: NDArray[Any] | None = None) -> Step:
    params = np.zeros(PARAMS)
    numbers = np.concatenate([np.asarray(each, dtype=np.float64) for each in constants])
    params[: numbers.size] = numbers
    return Step(op, params, table)


def _from_codes(steps: list[Step], peak: float) -> list[Step]:
    """The steps for pixels that come as codes of 0..peak: the first one takes them as they are."""
    if steps and steps[0].op in TABLES:
        first = steps[0]
        return [
            _step(first.op, first.params[:3] * peak, first.params[3:6] / peak, table=first.table),
            *steps[1:],
        ]
    return [matrix_step(np.eye(3) / peak), *steps]


def _joined(steps: list[Step]) -> list[Step]:
    joined: list[Step] = []
    for step in steps:
        if joined and step.op == joined[-1].op == MATRIX:
            before = joined.pop().params
            matrix = step.params[:9].reshape(3, 3)
            step = matrix_step(
                matrix @ before[:9].reshape(3, 3), matrix @ before[9:12] + step.params[9:12]
            )
        joined.append(step)
    return joined


def lookup_method(params: NDArray[np.float64], size: int, dtype: np.dtype[Any], peak: float) -> int:
    """How the place of a value in a table is found.

    Float32 finds it without rounding where the domain begins at 0 and the
    steps a unit are a power of two, as with 17, 33 or 65 nodes over 0..1; and
    where whole codes meet a small table over their whole range. All else is
    found in float64.
    """
    if (params[:3] != 0).any():
        return IN_FLOAT64
    if all(math.frexp(steps)[0] == 0.5 and 1 <= steps < 1 << 17 for steps in params[3:6]):
        return EXACT
    full_range = peak > 1 and np.allclose(params[3:6] * peak, size - 1, rtol=1e-14, atol=0)
    if dtype == np.float32 and full_range and size <= 65 and peak < 1 << 16:
        return CODES
    return IN_FLOAT64


T = TypeVar("T")


class ByTable(Generic[T]):
    """What was made of read-only tables, each kept as long as its table lives."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Any, ...], tuple[weakref.ref[NDArray[Any]], T]] = {}

    def __len__(self) -> int:
        return len(self._kept)

    def get(self, table: NDArray[Any], *more: Any) -> T | None:
        """What was made of a table; None where nothing is kept. `more` says what was made."""
        known = self._kept.get((id(table), *more))
        return known[1] if known is not None and known[0]() is table else None

    def keep(self, made: T, table: NDArray[Any], *more: Any) -> T:
        """`made`, which is kept if the table is read-only."""
        if not table.flags.writeable:
            key = (id(table), *more)

            def forget(gone: weakref.ref[NDArray[Any]]) -> None:
                # No lock here: the collector may call this in the midst of anything.
                kept = self._kept.get(key)
                if kept is not None and kept[0] is gone:
                    self._kept.pop(key, None)

            # One dictionary store: no lock needed.
            self._kept[key] = (weakref.ref(table, forget), made)
        return made


_laid: ByTable[NDArray[Any]] = ByTable()


def _laid_out(table: NDArray[Any], dtype: np.dtype[Any]) -> NDArray[Any]:
    """The table as the kernels read it."""
    laid = _laid.get(table, dtype)
    if laid is None:
        laid = _laid.keep(_lay_out(table, np.zeros(_laid_size(table), dtype)), table, dtype)
    return laid


def _laid_size(table: NDArray[Any]) -> int:
    """Numbers that the table takes in a pool."""
    return table.size if table.ndim == 2 else table.size // 3 * 4


def _lay_out(table: NDArray[Any], place: NDArray[Any]) -> NDArray[Any]:
    """The table laid into a part of a pool that holds zeros."""
    if table.ndim == 2:
        place.reshape(3, -1)[...] = table.T
    else:
        place.reshape(*table.shape[:3], 4)[..., :3] = table
    return place


def can_apply(transform: Transform) -> bool:
    """Whether `apply_pixels` takes the transform as it is."""
    try:
        plan(transform)
    except LutbenchError:
        return False
    return True


def plan(steps: Transform | Iterable[Transform]) -> list[Step]:
    """The kernel steps of one transform or several.

    Raises LutbenchError for a transform that is none of those `apply_pixels` takes.
    """
    transforms = listed(steps)
    return [step for each in transforms for part in steps_of(each) for step in _kernel_steps(part)]


def listed(steps: Transform | Iterable[Transform]) -> list[Transform]:
    """One transform or several, as a list."""
    try:
        listed = [steps] if isinstance(steps, Transform) else list(steps)
    except TypeError:
        listed = [steps]  # type: ignore[list-item]
    for each in listed:
        if not isinstance(each, Transform):
            raise LutbenchError(f"{each!r:.60} is not a transform", accepted="a transform, a LUT")
    return listed


def _kernel_steps(transform: Transform) -> list[Step]:
    match transform:
        case Lut1D():
            return [table_step(CURVE, transform.table, transform.domain)]
        case Lut3D():
            op = LATTICES[transform.interpolation]
            return [table_step(op, transform.table, transform.domain)]
        case ShaperLut3D():
            return [*_kernel_steps(transform.shaper), *_kernel_steps(transform.lut)]
        case Matrix():
            return [matrix_step(transform.array, transform.offset)]
        case Saturation():
            return [_saturation(transform)]
        case Clamp():
            return [clamp_step(transform.low, transform.high)]
        case Cdl():
            held = [clamp_step(0, 1)] if transform.clamp else []
            return [
                matrix_step(np.diag(transform.slope), transform.offset),
                *held,
                power_step(transform.power),
                _saturation(Saturation(transform.saturation)),
                *held,
            ]
        case CdlInverse(cdl=cdl):
            held = [clamp_step(0, 1)] if cdl.clamp else []
            slope, power = np.array(cdl.slope), np.array(cdl.power)
            with np.errstate(over="ignore"):  # of subnormal numbers there is no reciprocal
                undone, root, offset = 1 / slope, 1 / power, -np.array(cdl.offset) / slope
            return [
                *held,
                _saturation(Saturation(1 / cdl.saturation)),
                *held,
                power_step(root),
                matrix_step(np.diag(undone), offset),
                *held,
            ]
        case _:
            raise LutbenchError(
                f"{transform!r} cannot be run over pixels as it is",
                accepted="LUTs, matrices, saturation, clamps and CDLs; sample others into a LUT",
            )


def _saturation(saturation: Saturation) -> Step:
    luminance = np.tile(saturation.weights, (3, 1))
    return matrix_step(luminance + saturation.amount * (np.eye(3) - luminance))


def code_peak(dtype: Any, bits: int | None = None) -> float:
    """What 1.0 is in an array of `dtype`: the highest code of `bits`, 1.0 for floats."""
    dtype = np.dtype(dtype)
    return 1.0 if dtype.kind == "f" else float((1 << (bits or 8 * dtype.itemsize)) - 1)
