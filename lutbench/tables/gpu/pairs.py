"""Lattices in half the memory: two nodes in 16 bytes, without loss.

The values of most LUTs are whole multiples of one step: the decimals of a ``.cube`` file,
or codes. Such a number needs 21 bits, not 32, so that a node takes 8 bytes; it is kept with
the far node of its cell, because each colour reads both. Where each pixel has another
colour, the device waits for these reads, and this takes a quarter less time. The numbers
take more work to unpack, which shows where they are not what the device waits for.
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


@dataclass(frozen=True, eq=False)
class Pairs:
    """Nodes as `steps.cu` reads them: value = step * (2**23 + number - zero)."""

    nodes: NDArray[np.uint32]
    step: float
    zero: float


def pairs(table: NDArray[Any]) -> Pairs | None:
    """A lattice, shape (n, n, n, 3), as pairs of nodes; None if its values have no common step."""
    for grid in GRIDS:
        with np.errstate(all="ignore"):
            numbers = np.rint(table * float(grid))
            same = (numbers / grid).astype(table.dtype) == table
        if not same.all() or np.ptp(numbers) >= 2**BITS or np.abs(numbers).max() >= 2**23:
            continue
        low = float(numbers.min())
        return Pairs(_packed((numbers - low).astype(np.uint32)), 1 / grid, 2.0**23 - low)
    return None


def _packed(numbers: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Whole numbers of 21 bits, shape (n, n, n, 3), as (n + 1, n + 1, n + 1, 4) words.

    Red and blue are the low bits of a word each; green is cut in two for their high bits.
    """
    red, green, blue = np.moveaxis(numbers, -1, 0)
    high = BITS // 2 + 1  # bits of green beside blue; the others are beside red
    words = np.stack([blue | green << BITS, red | green >> high << BITS], axis=-1)
    size = numbers.shape[0]
    near, far = (np.minimum(np.arange(size + 1) + ahead, size - 1) for ahead in (0, 1))
    return np.concatenate([words[np.ix_(each, each, each)] for each in (near, far)], axis=-1)
