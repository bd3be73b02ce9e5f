"""Lattices in half the memory: two nodes in 16 bytes.

The values of most LUTs are whole multiples of one step: the decimals of a ``.cube`` file,
or codes. Such a number needs 21 bits, not 32, so that a node takes 8 bytes, without loss.
Other values are rounded to 21 bits if that is accurate enough. A node is kept with the far
node of its cell, because each colour reads both. Where each pixel has another colour, the
device waits for these reads, and this takes a quarter less time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

GRIDS = (1_000_000, 65535, 4095, 1023)
"""Steps per unit of tables in files: six decimals; codes of 16 bits (and of 8), 12, and 10."""

BITS = 21
"""Bits of a number, so that three fit into 8 bytes: 2.09 units of signal in steps of 1e-6."""

SCALE = 2.0**49  # of the sums in the kernel: 2**149 by 2**100


@dataclass(frozen=True, eq=False)
class Pairs:
    """Nodes as `steps.cu` reads them: value = low + unit * number / 2**49.

    In the kernel a number is that many times 2**-149, and the weights add up to 2**100.
    """

    nodes: NDArray[np.uint32]
    unit: float
    low: float


def pairs(table: NDArray[Any], error: float) -> Pairs | None:
    """A lattice, shape (n, n, n, 3), as pairs of nodes.

    None if its values have no common step and rounding them would change one by over `error`.
    """
    if not np.isfinite(table).all():
        return None
    wide = table.astype(np.float64)  # float32 would round again
    for grid in GRIDS:
        numbers = np.rint(wide * grid)
        exact = ((numbers / grid).astype(table.dtype) == table).all()
        if exact and np.ptp(numbers) < 2**BITS:
            return _on(grid, numbers)
    finest = _finest(wide)
    return _on(finest, np.rint(wide * finest)) if 0.5 / finest <= error else None


def _finest(table: NDArray[Any]) -> int:
    """The most steps per unit of signal that 21 bits hold; 0 and 1 are then still exact."""
    width = max(float(np.ptp(table)), 2.0**-BITS)
    return max(1, int((2**BITS - 2) / width))


def _on(grid: int, numbers: NDArray[Any]) -> Pairs:
    low = float(numbers.min())
    return Pairs(_packed((numbers - low).astype(np.uint32)), SCALE / grid, low / grid)


def _packed(numbers: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Whole numbers of 21 bits, shape (n, n, n, 3), as (n + 1, n + 1, n + 1, 4) words.

    The two words of a node are one number of 64 bits: red, green and blue from the top down.
    """
    red, green, blue = np.moveaxis(numbers, -1, 0)
    beside = 32 - BITS  # bits of green in the word of blue; the others are beside red
    words = np.stack([blue | green << BITS, green >> beside | red << beside], axis=-1)
    size = numbers.shape[0]
    near, far = (np.minimum(np.arange(size + 1) + ahead, size - 1) for ahead in (0, 1))
    return np.concatenate([words[np.ix_(each, each, each)] for each in (near, far)], axis=-1)
