"""Room for the numbers of a table, which nobody can write to once they are in."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


class Mould:
    """An array to be filled, that becomes read-only memory without a second copy of it.

    A LUT keeps its table in a ``bytes`` object (see `read_only`). A table of 256 nodes is
    400 MB, so it is best written there from the start: CPython hands out the bytes that
    a ``BytesIO`` holds as they are.

    >>> mould = Mould((2,))
    >>> mould.array[:] = 0.5, 1.0
    >>> mould.sealed().tolist()
    [0.5, 1.0]
    """

    array: NDArray[Any]

    def __init__(self, shape: tuple[int, ...], dtype: DTypeLike = np.float64) -> None:
        number = np.dtype(dtype)
        self._room = io.BytesIO(bytes(math.prod(shape) * number.itemsize))
        self.array = np.frombuffer(self._room.getbuffer(), number).reshape(shape)

    def sealed(self) -> NDArray[Any]:
        """The array, read-only from now on; there is no other way into its memory."""
        shape, number = self.array.shape, self.array.dtype
        del self.array
        return np.frombuffer(self._room.getvalue(), number).reshape(shape)
