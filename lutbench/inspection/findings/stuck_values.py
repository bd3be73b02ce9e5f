"""A value that a writer repeated: a channel, or rows of the table, that stand still."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.examined import CHANNELS, Examined
from lutbench.inspection.finding import Finding, FindingKind
from lutbench.inspection.subject import CODES
from lutbench.tables.noise import CLIPPED_WITHIN

SHORTEST = 4
"""Rows alike in turn, from which a run is looked at; two or three may be rounding."""

MOST_RUNS = 3
"""Runs of a whole table: a look that has plateaus has them on many lines, not on three."""

STILL = 1e-9
"""Signal: values that differ by less are the same number in the file."""


@dataclass(frozen=True)
class StuckRun:
    """Rows in turn that hold the same three numbers; `first` counts from 0 in the file."""

    first: int
    count: int


class StuckValues(FindingKind):
    """One channel never changes, or rows repeat where red should rise."""

    code = "stuck_values"
    unit = "rows"
    severity = "error"
    decides = True
    seen = "a patch, or the whole picture, of one wrong colour"
    advice = "what should stand there cannot be known: make the LUT or fetch the file again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None:
            return
        spans = np.ptp(lut.subject.planes.reshape(3, -1), axis=1) * CODES
        still = [CHANNELS[c] for c in range(3) if spans[c] < 0.01]
        if still and spans.max() > 1:
            message = f"{' and '.join(still)} has one value in the whole table"
            yield self.finding(lut, message, float(lut.subject.size**3))
            return
        runs = stuck_runs(lut.subject.planes)
        if 0 < len(runs) <= MOST_RUNS:
            worst = max(runs, key=lambda each: each.count)
            node = np.unravel_index(worst.first, (lut.subject.size,) * 3)[::-1]
            message = f"{worst.count} rows repeat one colour, from row {worst.first + 1} on"
            place = lut.at(tuple(int(each) for each in node))
            yield self.finding(lut, message, float(worst.count), place=place)


def stuck_runs(planes: NDArray[np.float64]) -> list[StuckRun]:
    """Runs of equal rows, in the order of the file, that clipping does not explain.

    Red changes from row to row. A run is right where red is clipped: at its lowest
    value at dark inputs, at its highest at bright ones; elsewhere it is stuck.
    """
    size = planes.shape[1]
    rows = planes.transpose(3, 2, 1, 0).reshape(-1, 3)
    same = (np.abs(np.diff(rows, axis=0)) < STILL).all(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    low, high = float(planes[0].min()) + CLIPPED_WITHIN, float(planes[0].max()) - CLIPPED_WITHIN
    found = []
    for first, last in edges.reshape(-1, 2).tolist():
        count, red = last - first + 1, float(rows[first, 0])
        if count < SHORTEST:
            continue
        inputs = np.arange(first, last + 1) % size
        dark, bright = bool(red <= low), bool(red >= high)
        if (dark and inputs.max() < size - 1) or (bright and inputs.min() > 0):
            continue
        if (dark or bright) and count <= size:
            continue  # a line of one red, clipped for its green and blue
        found.append(StuckRun(first, count))
    return found
