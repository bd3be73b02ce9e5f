"""Compare two tables of the same size: single nodes, a lost row, rounding.

They are read slab by slab: a table of 256 nodes along an edge takes 400 MB, and so would
every intermediate result.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.guesses import SAME_CODES, Explanation
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array

SLAB = 1 << 20
"""Numbers of a table that are compared at a time: 8 MiB of float64."""

DEPTHS = (8, 10, 12)
"""Bit depths to which a table may have been rounded: those of cameras and monitors."""


def slabs(*tables: NDArray[Any]) -> Iterator[tuple[int, tuple[Array, ...]]]:
    """The slabs of the tables as float64, each with its start along the first axis."""
    thick = max(1, SLAB // max(1, tables[0][0].size))
    for start in range(0, len(tables[0]), thick):
        yield start, tuple(each[start : start + thick].astype(np.float64) for each in tables)


def moved_nodes(a: NDArray[Any], b: NDArray[Any]) -> tuple[int, tuple[int, ...]]:
    """How many nodes differ by more than rounding, and the one that differs most."""
    count, most = 0, -1.0
    at: tuple[int, ...] = (0,)
    for start, (part_a, part_b) in slabs(a, b):
        difference = CODES_10_BIT * np.abs(part_a - part_b).max(axis=-1)
        count += int((difference >= SAME_CODES).sum())
        top = int(difference.argmax())
        if difference.flat[top] > most:
            most = float(difference.flat[top])
            first, *others = map(int, np.unravel_index(top, difference.shape))
            at = (start + first, *others)
    return count, at


def about_shift(a: NDArray[Any], b: NDArray[Any]) -> Iterator[Explanation]:
    """A line of the file that was lost or written twice, so that all later rows are shifted.

    In a .cube file red runs fastest.
    """
    # In the order of the file: the first axis is blue, then green, then red.
    a, b = (np.swapaxes(table, 0, -2) for table in (a, b))
    start = _first_moved(a, b)
    for one, other, words in ((a, b, "early"), (b, a, "late")):
        if _is_one_row_late(one, other, start):
            yield Explanation(
                "shifted_rows",
                f"from row {start + 1} of the table on, every row of B comes one row too "
                f"{words}, as if a line were {'lost' if words == 'early' else 'doubled'}",
                0.0,
            )
            return


def _moved(a: Array, b: Array) -> NDArray[np.bool_]:
    return np.asarray((CODES_10_BIT * np.abs(a - b) >= SAME_CODES).any(axis=-1))


def _first_moved(a: NDArray[Any], b: NDArray[Any]) -> int:
    """The first row that differs; 0 where none does."""
    done = 0
    for _, (part_a, part_b) in slabs(a, b):
        moved = _moved(part_a, part_b).ravel()
        if moved.any():
            return done + int(moved.argmax())
        done += len(moved)
    return 0


def _is_one_row_late(one: NDArray[Any], other: NDArray[Any], start: int) -> bool:
    """Whether each row of `one` after `start` comes one row earlier in `other`."""
    done = 0
    before = np.empty((0, 3))  # the last row of the slab before
    for _, parts in slabs(one, other):
        rows, others = (part.reshape(-1, 3) for part in parts)
        earlier = np.concatenate([before, others[:-1]])
        later = rows[len(rows) - len(earlier) :]
        first = done + len(rows) - len(earlier)  # of `later`
        skipped = max(0, start + 1 - first)
        if _moved(later[skipped:], earlier[skipped:]).any():
            return False
        before = others[-1:]
        done += len(rows)
    return True


def about_rounding(a: NDArray[Any], b: NDArray[Any], what: str) -> Iterator[Explanation]:
    """Whether one table is the other, rounded to whole codes."""
    for bits in DEPTHS:
        for one, other, words in ((a, b, "B is A"), (b, a, "A is B")):
            if _is_rounded(one, other, 2**bits - 1):
                yield Explanation(
                    "rounding",
                    f"rounding: {words} with its {what} rounded to {bits} bit",
                    0.0,
                    float(bits),
                )
                return


def _is_rounded(one: NDArray[Any], other: NDArray[Any], top: int) -> bool:
    near = 0
    for _, (part, found) in slabs(one, other):
        off = np.abs(found - np.rint(np.clip(part, 0, 1) * top) / top)
        # .cube files round to six decimals; a value half-way may go either way.
        if off.max() >= 1.01 / top:
            return False
        near += int((off < 2e-6).sum())
    return near / one.size > 0.999
