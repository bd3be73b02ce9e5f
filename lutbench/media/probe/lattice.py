"""The probe LUT: black nearly everywhere, white at the few nodes that the board's words need."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.media.probe.board import (
    LINE_SIGNAL,
    ORDER_COLOUR,
    ORDER_NODE,
    RANGE_NODE_SIGNAL,
    check_size,
    node_places,
    saddles,
)
from lutbench.tables.lut import Lut3D

Table = NDArray[np.float64]

SLACK_SIGNAL = 1 / 64
"""Signal around a lit node that is lit too: rounding to 8-bit Y'CbCr moves a colour that far."""

LOW_SIGNAL = 0.07
"""Signal up to which a channel counts as zero, so that a signal path that clips at 16 of 255
affects only the row that tests clipping."""

HIGH_SIGNAL = 0.89
"""Signal from which a channel counts as full, for the same reason: 235 of 255 is 0.92."""

TITLES = {"probe": "monitor probe", "plain": "identity: changes nothing"}


def probe_lut(size: int) -> Lut3D:
    """The LUT that makes the words white that are true of the monitor.

    >>> probe_lut(17).apply([1.0, 1.0, 1.0]).tolist()
    [1.0, 1.0, 1.0]
    """
    cells = check_size(size) - 1
    grid = np.arange(size) / cells
    level = np.zeros((size, size, size))
    none, full = np.flatnonzero(grid <= LOW_SIGNAL), np.flatnonzero(grid >= HIGH_SIGNAL)
    level[np.ix_(full, full, full)] = 1.0
    level[np.ix_(_near(grid, RANGE_NODE_SIGNAL), none, none)] = 1.0
    level[np.ix_(*(_near(grid, LINE_SIGNAL, 0.0),) * 3)] = 1.0
    for blue in node_places(cells).values():
        level[np.ix_(none, none, _near(grid, blue, 0.0))] = 1.0
    # Along green, with full red and no blue, the LUT is the identity.
    level[np.ix_(full, np.arange(size), none)] = grid[None, :, None]
    for step, value in ((0, 0.0), (1, 1.0)):
        level[np.ix_(full, full, _near(grid, (cells // 2 + step) / cells, 0.0))] = value
    _cut_ends(level, grid)
    _saddles(level, cells, full)
    table = np.repeat(level[..., None], 3, axis=-1)
    table[np.ix_(*(_near(grid, each) for each in ORDER_NODE))] = ORDER_COLOUR
    return Lut3D(table, title=TITLES["probe"])


def plain_lut(size: int) -> Lut3D:
    """The identity LUT, to see the board unchanged."""
    return Lut3D(Lut3D.identity(check_size(size)).table, title=TITLES["plain"])


def _near(grid: Table, at: float, slack: float = SLACK_SIGNAL) -> NDArray[np.int64]:
    return np.flatnonzero(np.abs(grid - at) <= slack + 1e-9)


def _cut_ends(level: Table, grid: Table) -> None:
    """Light up green below legal black, and darken green between legal white and white."""
    low = np.flatnonzero((grid > 0.02) & (grid < 0.063))
    dark, white = _near(grid, 0.0), _near(grid, 1.0)
    level[np.ix_(dark, low, dark)] = 1.0
    level[np.ix_(white, np.flatnonzero((grid > 0.93) & (grid < 0.98)), white)] = 0.0


def _saddles(level: Table, cells: int, blues: NDArray[np.int64]) -> None:
    """Set two cells with opposite corners lit, and an area of mid grey, at full blue.

    In the middle of a cell with the corners of the diagonal lit, tetrahedral interpolation gives
    1 and trilinear 1/2; with the other two corners lit, they give 0 and 1/2.
    """
    along, across, plain = saddles(cells)
    for red, green, value in (
        (along[0], along[1], 1.0),
        (along[0] + 1, along[1] + 1, 1.0),
        (across[0] + 1, across[1], 1.0),
        (across[0], across[1] + 1, 1.0),
    ):
        level[red, green, blues] = value
    area = np.ix_(plain[0] + np.arange(3), plain[1] + np.arange(3), blues)
    level[area] = 0.5
