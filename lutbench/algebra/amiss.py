"""The defects of a table as measures, none of which a repair may make worse."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from lutbench.algebra.unfold import folds_of
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array
from lutbench.tables.cells import channel_planes
from lutbench.tables.nodes import diagonal
from lutbench.tables.traces import noise_level

SLACK_CODES = 0.05
"""10-bit codes: a measure counts as unchanged if it grows by less; about a hundred roundings."""

MEANT_FOR = {
    "range": "range",
    "noise": "noise",
    "monotone": "fall",
    "tint": "tint",
    "folds": "folds",
    "stray": "noise",
}
"""The measure that each repair is meant to lower."""

WORSE = {
    "range": "push values out of 0..1",
    "noise": "make the values noisier",
    "fall": "make greys fall where they should rise",
    "tint": "tint greys more",
    "fold": "deepen a fold",
    "folds": "add folds",
}
"""What a repair does when it raises a measure, after "it would"."""


@dataclass(frozen=True)
class Amiss:
    """The defects of a table in 10-bit codes; each is 0 in a table without it.

    `range` is the largest distance outside 0..1, `noise` its standard deviation, `fall` the
    deepest fall of the neutral axis, `tint` its widest spread, `fold` the deepest fold,
    `folds` the sum of the depths of all folds.
    """

    range: float
    noise: float
    fall: float
    tint: float
    fold: float
    folds: float

    def worse_than(self, before: Amiss, repair: str) -> str:
        """The name of a measure that grew; empty if none did.

        A repair of the tint or of a fall also moves the colours around greys, less and less.
        So the other of the two, and shallow folds there, do not count against it.
        """
        spared = {"fall", "tint", "folds"} if repair in ("tint", "monotone") else set()
        for each in fields(self):
            if each.name in spared and each.name != MEANT_FOR[repair]:
                continue
            if getattr(self, each.name) > getattr(before, each.name) + SLACK_CODES:
                return each.name
        return ""


def amiss(table: Array) -> Amiss:
    """The measures of a table, shape (n, n, n, 3)."""
    axis = diagonal(table)
    fall = float((np.maximum.accumulate(axis, axis=0) - axis).max())
    outside = max(float(table.max()) - 1, -float(table.min()), 0.0)
    folds = folds_of(table)
    parts = (
        outside,
        noise_level(channel_planes(table)),
        fall,
        float(np.ptp(axis, axis=1).max()),
        folds.deepest,
        folds.depth,
    )
    return Amiss(*(CODES_10_BIT * each for each in parts))
