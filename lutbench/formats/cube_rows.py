"""Where the rows of a ``.cube`` file go as they are read: a curve, then a lattice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Mould

_ROWS_AT_ONCE = 1 << 16
"""Rows that are put into the lattice together: 1.5 MiB of float64."""


class CubeRows:
    """Rows of a 1D table, if there is one, then of a lattice, in which red runs fastest.

    A lattice of 256 nodes is 400 MB: its rows are put where they belong a few planes of blue
    at a time, so that they never stand beside the table.
    """

    def __init__(self, size_1d: int, size_3d: int) -> None:
        self.size = size_3d
        self.curve = np.empty((size_1d, 3))
        self.count = size_1d + size_3d**3
        self.done = 0
        self._lattice = Mould((size_3d, size_3d, size_3d, 3))
        planes = min(size_3d, max(1, _ROWS_AT_ONCE // max(1, size_3d**2)))
        self._planes = np.empty((planes * size_3d**2, 3))

    def put(self, rows: NDArray[np.float64]) -> None:
        """The next rows, as many as are to come at most."""
        head = rows[: max(0, len(self.curve) - self.done)]
        self.curve[self.done : self.done + len(head)] = head
        self.done += len(head)
        rows = rows[len(head) :]
        while len(rows):
            at = (self.done - len(self.curve)) % len(self._planes)
            part = rows[: len(self._planes) - at]
            self._planes[at : at + len(part)] = part
            self.done += len(part)
            rows = rows[len(part) :]
            if at + len(part) == len(self._planes) or self.done == self.count:
                self._lay(at + len(part))

    def _lay(self, count: int) -> None:
        """The planes of blue whose last row has come."""
        planes = self._planes[:count].reshape(-1, self.size, self.size, 3)
        last = (self.done - len(self.curve)) // self.size**2
        self._lattice.array[:, :, last - len(planes) : last] = planes.transpose(2, 1, 0, 3)

    def table(self) -> NDArray[np.float64]:
        """The lattice, indexed [r, g, b], once all rows are there."""
        return self._lattice.sealed()
