"""The grid of a LUT: its domain, nodes and shaper; and other transforms sampled on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import UNIT_DOMAIN, Lut1D, Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import before_shaper, rises, sample_1d

USUAL = 33
"""Nodes along an edge for a transform that has none: a usual size."""

FINEST = 65
"""The most nodes along an edge for a part: enough for a chain, and still a small file."""

MOST = 80_000
"""Nodes that parts are fitted to and judged on, which limits the time."""

LARGEST = 1e6
"""Full-scale value to which infinite results are limited, so that a file can hold them."""


@dataclass(frozen=True, eq=False)
class Frame:
    """The lattice of a LUT.

    Parameters
    ----------
    size
        Nodes along an edge.
    domain
        Shape (2, 3).
    shaper
        What comes before the lattice, or None.
    rows
        The rows of a 1D LUT, 0 for another.
    """

    size: int
    domain: Array
    shaper: Lut1D | None = None
    rows: int = 0

    @classmethod
    def of(cls, lut: Transform) -> Frame:
        """The frame of a LUT; 33 nodes over 0..1 for another transform."""
        if isinstance(lut, Lut3D):
            return cls(lut.size, lut.domain)
        if isinstance(lut, ShaperLut3D):
            if rises(lut.shaper):
                return cls(lut.size, lut.lut.domain, lut.shaper)
            return cls(max(lut.size, USUAL), lut.domain)
        if isinstance(lut, Lut1D):
            return cls(USUAL, lut.domain, rows=lut.size)
        return cls(USUAL, np.array(UNIT_DOMAIN))

    @property
    def outer(self) -> Array:
        """The domain of the whole, shape (2, 3)."""
        return self.domain if self.shaper is None else self.shaper.domain

    def nodes(self, size: int | None = None) -> Array:
        """The inputs of the nodes, shape (n, n, n, 3)."""
        grid = lattice(size or self.size, self.domain)
        return grid if self.shaper is None else before_shaper(self.shaper, grid)

    def finer(self) -> int:
        """A size whose nodes include all of the frame's, fine enough for a part of a chain."""
        if self.size >= USUAL:
            return self.size
        times = -(-(USUAL - 1) // max(self.size - 1, 1))
        return min(times * (self.size - 1) + 1, FINEST)

    def sampled(
        self, transform: Transform, *, size: int | None = None, title: str = ""
    ) -> Lut3D | ShaperLut3D:
        """The transform on the nodes, behind the shaper where there is one."""
        values = np.asarray(transform.apply(self.nodes(size)), dtype=np.float64)
        table = np.nan_to_num(values, nan=0.0, posinf=LARGEST, neginf=-LARGEST)
        lut = Lut3D(table, self.domain, title=title)
        return lut if self.shaper is None else ShaperLut3D(self.shaper, lut, title)

    def curve(self, transform: Transform, *, title: str = "") -> Lut1D:
        """A transform with separate channels, sampled with the rows of a 1D LUT."""
        return sample_1d(transform, self.rows, domain=self.domain, title=title)
