"""Rows that repeat, and values that stand alone in a plateau, in the order of the file.

Where a channel is clipped, all its values are one number. Another number there that all
neighbours surround is wrong: a formula does not leave one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.subject import CODES
from lutbench.model.transforms import Array, Mask
from lutbench.tables.traces import CLIPPED_SIGNAL

SHORTEST_RUN_ROWS = 6
"""Equal rows in a row: shorter runs are ignored, as strong looks have plateaus of up to five."""

CHANGE_BESIDE_SIGNAL = 0.2
"""Signal: the lines beside a run must change by this over its length; beside a plateau of a look
they change less."""

GOES_ON_SHARE = 0.5
"""Share of the rows beside a run that hold its number too: with most of them it is a plateau."""

FEWEST_LINES_BESIDE = 4
"""Lines beside a run, which must all change: on a face of the table looks make short plateaus."""

SAME_VALUE_SIGNAL = 1e-9
"""Signal: values that differ by less are the same number in the file."""

SLAB_PLANES = 16
"""Planes of blue that are worked on at once: at 256 nodes an array then takes 8 MB, not 134 MB."""


@dataclass(frozen=True)
class StuckRun:
    """Consecutive rows that hold the same number or numbers; `first` counts from 0 in the file."""

    first: int
    count: int

    def node(self, shape: tuple[int, ...]) -> tuple[int, ...]:
        """The node of its first row, in a channel of that shape."""
        return tuple(int(each) for each in np.unravel_index(self.first, shape)[::-1])


@dataclass(frozen=True)
class Island(StuckRun):
    """A run on one line of red, in one channel, that is `off` (signal) from the plateau around."""

    off: float

    @property
    def codes(self) -> float:
        """How far it is out of the plateau, in 10-bit codes."""
        return abs(self.off) * CODES


def islands(plane: Array) -> list[Island]:
    """Runs in a channel, shape (n, n, n) or (n,), whose neighbours are all one other number.

    The neighbours are the lines beside the run and the rows at both its ends, which have to lie in
    the plateau themselves: at its edge looks leave single nodes that are right. So do they on the
    twelve edges of the cube, of which only black and white count. A 1D LUT has no lines beside:
    there it is one row between two equal ones.
    """
    if plane.ndim == 1:
        around = np.pad(plane, 1, mode="edge")
        beside = np.median([around[:-2], plane, around[2:]], axis=0)[None, None]
        return list(_islands(plane[None, None], beside, np.ones_like(beside, bool)))
    lines = plane.transpose(2, 1, 0)
    found: list[Island] = []
    for start in range(0, len(lines), SLAB_PLANES):
        above = min(start, 1)
        part = lines[start - above : start + SLAB_PLANES + 1]
        kept = slice(above, above + SLAB_PLANES)
        lowest, highest = (each[kept] for each in _beside(part))
        runs = _islands(part[kept], lowest, highest - lowest < SAME_VALUE_SIGNAL)
        ahead = start * plane[0].size
        found += [Island(ahead + each.first, each.count, each.off) for each in runs]
    return [each for each in found if not _on_an_edge(each.node(plane.shape), len(plane))]


def _on_an_edge(node: tuple[int, ...], size: int) -> bool:
    """Whether a colour lies on an edge of the cube, where a tip of unclipped colours may reach."""
    return sum(each in (0, size - 1) for each in node) > 1 and len(set(node)) > 1


def _beside(lines: Array) -> tuple[Array, Array]:
    """The lowest and highest value on the four lines beside each value, of shape as `lines`."""
    lowest, highest = np.full(lines.shape, np.inf), np.full(lines.shape, -np.inf)
    for axis in (0, 1):
        low, high, all_lines = (np.moveaxis(each, axis, 0) for each in (lowest, highest, lines))
        for here, there in ((slice(1, None), slice(-1)), (slice(-1), slice(1, None))):
            np.minimum(low[here], all_lines[there], out=low[here])
            np.maximum(high[here], all_lines[there], out=high[here])
    return lowest, highest


def _islands(lines: Array, beside: Array, level: Mask) -> Iterator[Island]:
    """The runs on the last axis of `lines` that differ from the one number beside them."""
    off = lines - beside
    alone, quiet = (
        level & (np.abs(off) > SAME_VALUE_SIGNAL),
        level & (np.abs(off) <= SAME_VALUE_SIGNAL),
    )
    if not alone.any():
        return
    going_on = _joined(alone, lines) & _joined(alone, beside)
    edge = np.zeros((*lines.shape[:2], 1), bool)
    first = np.flatnonzero(alone & ~np.concatenate([edge, going_on], axis=-1))
    last = np.flatnonzero(alone & ~np.concatenate([going_on, edge], axis=-1))
    size, values, plateau = lines.shape[-1], lines.ravel(), beside.ravel()[first]
    starts, stops = first % size == 0, (last + 1) % size == 0
    held = ~(starts & stops)
    for at, at_end in ((first - 1, starts), (last + 1, stops)):
        inside = np.clip(at, 0, lines.size - 1)
        same = np.abs(values[inside] - plateau) <= SAME_VALUE_SIGNAL
        held &= at_end | (quiet.ravel()[inside] & same)
    for one, other in zip(first[held].tolist(), last[held].tolist(), strict=True):
        yield Island(one, other - one + 1, float(off.ravel()[one]))


def _joined(alone: Mask, values: Array) -> Mask:
    """Whether each value on the last axis and the next are alone and the same number."""
    same = np.abs(np.diff(values, axis=-1)) <= SAME_VALUE_SIGNAL
    return np.asarray(alone[..., 1:] & alone[..., :-1] & same)


def stuck_in_channel(plane: Array) -> list[StuckRun]:
    """Runs of rows in which a channel, shape (n, n, n), repeats a value.

    Between the channel's ends a run counts if it holds a whole line of red and only a part of the
    next or the last one: a channel that does not depend on red changes from line to line only, any
    other within the line. So does a whole plane of blue, and after the first one even at the lowest
    value. The planes beside it must change by `CHANGE_BESIDE_SIGNAL` over the same rows.
    """
    size, values = len(plane), _in_order(plane)
    first, count = _runs(np.abs(np.diff(values)) < SAME_VALUE_SIGNAL)
    end = first + count
    whole_line, whole_plane = (end // each - -(-first // each) >= 1 for each in (size, size**2))
    above = values[first] > values.min() + CLIPPED_SIGNAL
    part = whole_line & above & ((first % size > 0) | (end % size > 0))
    odd = (part | (whole_plane & (above | (first > 0)))) & (
        values[first] < values.max() - CLIPPED_SIGNAL
    )
    runs = (StuckRun(int(first[at]), int(count[at])) for at in np.flatnonzero(odd))
    return [each for each in runs if _changes_beside(values, size**2, each)]


def _changes_beside(values: Array, plane: int, run: StuckRun) -> bool:
    """Whether the rows one plane before and after a run both change by `CHANGE_BESIDE_SIGNAL`, and
    most of them hold other numbers than the run."""
    end = run.first + run.count
    before = values[max(0, run.first - plane) : max(0, min(run.first, end - plane))]
    after = values[max(end, run.first + plane) : end + plane]
    return all(
        np.ptp(each) > CHANGE_BESIDE_SIGNAL
        and (np.abs(each - values[run.first]) < SAME_VALUE_SIGNAL).mean() < GOES_ON_SHARE
        for each in (before, after)
        if len(each)
    )


def _runs(same: Mask) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where runs of equal rows begin, and how many rows each has; `same` is of row and next."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    first, last = edges.reshape(-1, 2).T
    return first, last - first + 1


def stuck_runs(planes: Array) -> list[StuckRun]:
    """Runs of equal rows, in the order of the file, that clipping does not explain.

    Clipping makes rows equal too, but only at the start of a line at the lowest value or at its
    end at the highest, and on the lines beside it as well. `planes` has shape (3, n, n, n).
    """
    size = planes.shape[1]
    same = np.ones(size**3 - 1, bool)
    for plane in planes:  # one by one: a large table fills the memory
        same &= np.abs(np.diff(_in_order(plane))) < SAME_VALUE_SIGNAL
    lines = planes.transpose(3, 2, 1, 0)  # blue, green, red
    first, count = _runs(same)
    red = _in_order(planes[0])[first]
    # Red is at an end of its scale; over several lines it would have to change.
    at_an_end = (red <= planes[0].min() + CLIPPED_SIGNAL) | (
        red >= planes[0].max() - CLIPPED_SIGNAL
    )
    odd = (count >= SHORTEST_RUN_ROWS) & ~(at_an_end & (count <= size))
    runs = (StuckRun(int(first[at]), int(count[at])) for at in np.flatnonzero(odd))
    return [each for each in runs if _is_wrong(lines, each)]


def _in_order(plane: Array) -> Array:
    """A channel in the order of the file's rows, shape (n³,)."""
    return plane.transpose(2, 1, 0).ravel()


def _is_wrong(lines: Array, run: StuckRun) -> bool:
    """Whether every line beside a run changes by `CHANGE_BESIDE_SIGNAL` over the same reds, and
    most of their rows hold another colour than the run."""
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
    if len(beside) < FEWEST_LINES_BESIDE:
        return False
    around = np.array([lines[blue, green, reds] for blue, green in beside])
    stuck = lines[first[0] // size, first[0] % size, first[1]]
    same = (np.abs(around - stuck) < SAME_VALUE_SIGNAL).all(axis=-1)
    changes = np.ptp(around, axis=1).max(axis=1) > CHANGE_BESIDE_SIGNAL
    return bool(changes.all() and same.mean() < GOES_ON_SHARE)
