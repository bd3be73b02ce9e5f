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

SHORTEST = 6
"""Rows alike in turn, from which a run is looked at; strong looks have plateaus of up to five."""

MOST_RUNS = 3
"""Runs of a whole table: a look that has plateaus has them on many lines, not on three."""

MUCH = 0.2
"""Signal: how much the lines beside a run have to change over its length. Plateaus taper off."""

FEWEST_BESIDE = 4
"""Lines beside a run that have to say so: on a face of the table looks make short plateaus."""

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

    Clipping makes rows alike too: but from the darkest red of a line at its lowest value,
    or up to the brightest at its highest, and on the lines beside it as well.
    """
    size = planes.shape[1]
    rows = planes.transpose(3, 2, 1, 0).reshape(-1, 3)
    same = (np.abs(np.diff(rows, axis=0)) < STILL).all(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    lines = rows.reshape(size, size, size, 3)  # blue, green, red
    runs = [StuckRun(first, last - first + 1) for first, last in edges.reshape(-1, 2).tolist()]
    return [
        each
        for each in runs
        if each.count >= SHORTEST and not _clipped(rows, each) and _changes_around(lines, each)
    ]


def _clipped(rows: NDArray[np.float64], run: StuckRun) -> bool:
    """Whether red is at an end of its scale over the run, where it may be."""
    size = round(len(rows) ** (1 / 3))
    red = float(rows[run.first, 0])
    dark = red <= float(rows[:, 0].min()) + CLIPPED_WITHIN
    bright = red >= float(rows[:, 0].max()) - CLIPPED_WITHIN
    if run.count > size:
        return False  # over several lines red would have to change
    return bool(dark or bright)


def _changes_around(lines: NDArray[np.float64], run: StuckRun) -> bool:
    """Whether every line beside a run, at the same reds, changes by much."""
    size = len(lines)
    first, last = divmod(run.first, size), divmod(run.first + run.count - 1, size)
    one_line = first[0] == last[0]
    reds = slice(first[1], last[1] + 1) if one_line else slice(None)
    inside = {divmod(line, size) for line in range(first[0], last[0] + 1)}
    beside = {
        (blue + up, green + right)
        for blue, green in inside
        for up, right in ((-1, 0), (1, 0), (0, -1), (0, 1))
        if 0 <= blue + up < size and 0 <= green + right < size
    } - inside
    return len(beside) >= FEWEST_BESIDE and all(
        _change(lines, *line, reds) > MUCH for line in beside
    )


def _change(lines: NDArray[np.float64], blue: int, green: int, reds: slice) -> float:
    return float(np.ptp(lines[blue, green, reds], axis=0).max())
