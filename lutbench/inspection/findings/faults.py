"""Findings on the file: codes instead of signals, constant, false colour, repeated parts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import (
    CHANNELS,
    Examined,
    Finding,
    FindingKind,
    Limit,
)
from lutbench.inspection.subject import CODES
from lutbench.tables.code_scale import TOPS, code_scale, domain_scale
from lutbench.tables.noise import CLIPPED_WITHIN


class IntegerValues(FindingKind):
    """The values are codes of some bit depth."""

    code = "integer_values"
    limit = Limit(2.0, "signal", "no display signal reaches twice its white")
    severity = "error"
    decides = True
    cure = "scale"
    seen = "a white frame: every value is far above white"
    advice = "divide the table by its highest code: `lutbench rework repair` does it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes = lut.subject.planes
        if float(planes.max()) <= self.limit_for(lut):
            return
        if (top := code_scale(planes)) is None:
            return
        message = (
            f"the values are {TOPS[top]}-bit codes, up to {planes.max():g}, "
            "but should be signals from 0 to 1"
        )
        yield self.finding(lut, message, float(planes.max()))


class DomainInCodes(FindingKind):
    """The input is expected as codes of some bit depth."""

    code = "domain_in_codes"
    unit = "top of the domain"
    severity = "error"
    decides = True
    cure = "domain"
    seen = "a black frame: every signal from 0 to 1 falls on the first nodes of the table"
    advice = "set the domain to 0..1: `lutbench rework repair` does it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if (top := domain_scale(lut.subject.domain)) is not None:
            low = lut.subject.domain[0, 0]
            message = (
                f"the domain is given in {TOPS[top]}-bit codes, {low:g} to {top}, "
                "but the input is a signal from 0 to 1"
            )
            yield self.finding(lut, message, float(top))


class Constant(FindingKind):
    """Every grey comes out the same."""

    code = "constant"
    limit = Limit(1.0, "10-bit codes", "less than one code from black to white is not a picture")
    severity = "error"
    decides = True
    seen = "no picture at all"
    advice = "the table, or its shaper, is empty: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        value = float(np.ptp(axis.outputs, axis=0).max()) * CODES
        if value <= self.limit_for(lut):
            message = f"every grey comes out the same, at {100 * axis.black:.1f} %"
            yield self.finding(lut, message, value, place=lut.on_axis(0))


JUMP = 0.08
"""Signal: R − G or B − G changes by more than this between two grey nodes at the edge of a band."""

SAME_DIRECTION = 0.7
"""Cosine of 45°: two jumps in a row that differ in direction by less are one edge."""

SWAPPED_NODES = 3
"""Jumps in a row that two grey nodes make when they have changed places."""

CALM = 0.01
"""Signal: the most that R − G and B − G change within bands (median); noise changes them more."""


class FalseColourBands(FindingKind):
    """The colour of the grey scale jumps from band to band."""

    code = "false_colour"
    limit = Limit(3.0, "jumps", "looks change the colour of grey in two jumps at most")
    severity = "info"
    decides = True
    seen = "each level of exposure is painted in its own colour"
    advice = "for judging exposure only; never grade or deliver through it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        outputs = lut.subject.neutral.outputs
        chroma = outputs[:, [0, 2]] - outputs[:, [1]]
        moves = np.diff(chroma, axis=0)
        steps = np.abs(moves).max(axis=1)
        over = steps > JUMP
        # Jumps in a row in one direction count as one.
        onwards = over[1:] & over[:-1] & (_alignment(moves) >= SAME_DIRECTION)
        jumps = int(over.sum()) - int(onwards.sum())
        if over.sum() == SWAPPED_NODES and (over[1:] & over[:-1]).sum() == over.sum() - 1:
            return
        calm = float(np.median(steps[steps <= JUMP])) if (steps <= JUMP).any() else 1.0
        if jumps >= self.limit_for(lut) and calm < CALM:
            message = f"false colour: the colour of grey jumps {jumps} times from black to white"
            yield self.finding(lut, message, float(jumps))


FEWEST_PAINTED = 1 / 8
"""Of the nodes of a plane: a band crosses the whole table, and has about as many as a plane; rows
that are stuck are fewer, and so are the six coloured corners of a table of two nodes."""

SAME_COLOUR = 4
"""Decimals to which painted nodes have the same colour, as files with few decimals have them."""


class PaintedBands(FindingKind):
    """As `FalseColourBands`, by the whole table: grey, but for a few flat colours."""

    code = "false_colour"
    limit_code = "painted_bands"
    limit = Limit(16.0, "colours", "nobody can tell more bands apart")
    severity = "info"
    decides = True
    seen = FalseColourBands.seen
    advice = FalseColourBands.advice

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None or any(FalseColourBands().examine(lut)):
            return
        values = lut.subject.planes.reshape(3, -1)
        spread = np.ptp(values, axis=0)
        painted = spread > JUMP
        if not painted.any() or spread[~painted].max(initial=0.0) > CALM:
            return
        fewest, most = max(2, FEWEST_PAINTED * lut.subject.size**2), self.limit_for(lut)
        if len(_colours(values[:, painted][:, : int(fewest * most) + 1])[0]) > most:
            return  # the whole table need not be sorted
        colours, counts = _colours(values[:, painted])
        if len(colours) <= most and counts.min() >= fewest:
            many = f"{len(colours)} bands" if len(colours) > 1 else "one band"
            message = f"false colour: the picture is grey, with {many} of brightness in colour"
            yield self.finding(lut, message, float(len(colours)))


def _colours(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The different colours of values of shape (3, m), and how many there are of each."""
    return np.unique(np.round(values.T, SAME_COLOUR), axis=0, return_counts=True)


def _alignment(moves: NDArray[np.float64]) -> NDArray[np.float64]:
    """The cosine between each step and the next, shape (m − 1,) of steps (m, 2)."""
    lengths = np.maximum(np.linalg.norm(moves, axis=1), 1e-12)
    return np.asarray((moves[1:] * moves[:-1]).sum(axis=1) / (lengths[1:] * lengths[:-1]))


SHORTEST_RUN = 6
"""Equal rows in a row: shorter runs are ignored, as strong looks have plateaus of up to five."""

MOST_RUNS = 3
"""Runs in a whole table: a look with plateaus has them on many more lines."""

CHANGE_BESIDE = 0.2
"""Signal: the lines beside a run must change by this over its length; beside a plateau of a look
they change less."""

FEWEST_BESIDE = 4
"""Lines beside a run, which must all change: on a face of the table looks make short plateaus."""

SAME_VALUE = 1e-9
"""Signal: values that differ by less are the same number in the file."""

OUT_OF_PLATEAU = 20.0
"""10-bit codes: a look that turns hues leaves single nodes up to 16 codes off a clipped plateau."""


@dataclass(frozen=True)
class StuckRun:
    """Consecutive rows that hold the same three numbers; `first` counts from 0 in the file."""

    first: int
    count: int


class StuckValues(FindingKind):
    """A channel never changes or sticks at a value, or rows repeat where red should rise."""

    code = "stuck_values"
    unit = "rows"
    severity = "error"
    decides = True
    seen = "a patch, or the whole picture, of one wrong colour"
    advice = "the right values cannot be guessed: make the LUT again, or get the file again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None:
            return
        spans = np.ptp(lut.subject.planes.reshape(3, -1), axis=1) * CODES
        still = [CHANNELS[c] for c in range(3) if spans[c] < 0.01]
        if still and spans.max() > 1:
            message = f"{' and '.join(still)} has one value in the whole table"
            yield self.finding(lut, message, float(lut.subject.size**3))
            return
        planes = lut.subject.planes
        runs = {"the same colour": stuck_runs(planes)}
        if not lut.coarse_bits:  # coarse values repeat because they were rounded
            channels = zip(CHANNELS, planes, strict=True)
            runs |= {f"the same {name}": stuck_in_channel(plane) for name, plane in channels}
        for what, found in runs.items():
            if 0 < len(found) <= MOST_RUNS:
                worst = max(found, key=lambda each: each.count)
                node = np.unravel_index(worst.first, (lut.subject.size,) * 3)[::-1]
                message = f"{worst.count} rows repeat {what}, from row {worst.first + 1} on"
                place = lut.at(tuple(int(each) for each in node))
                yield self.finding(lut, message, float(worst.count), place=place)
                return


def stuck_in_channel(plane: NDArray[np.float64]) -> list[StuckRun]:
    """Runs of rows in which a channel, shape (n, n, n), repeats a value between its ends.

    A run counts if it holds a whole line of red and only a part of the next or the last one: a
    channel that does not depend on red changes from line to line only, any other within the line.
    The planes beside it must change by `CHANGE_BESIDE` over the same rows.
    """
    size, values = len(plane), _in_order(plane)
    first, count = _runs(np.abs(np.diff(values)) < SAME_VALUE)
    end = first + count
    whole = end // size - -(-first // size) >= 1
    within = (values[first] > values.min() + CLIPPED_WITHIN) & (
        values[first] < values.max() - CLIPPED_WITHIN
    )
    odd = whole & within & ((first % size > 0) | (end % size > 0))
    runs = (StuckRun(int(first[at]), int(count[at])) for at in np.flatnonzero(odd))
    return [each for each in runs if _changes_beside(values, size**2, each)]


def _changes_beside(values: NDArray[np.float64], plane: int, run: StuckRun) -> bool:
    """Whether the rows one plane before and after a run all change by `CHANGE_BESIDE`."""
    end = run.first + run.count
    before = values[max(0, run.first - plane) : max(0, min(run.first, end - plane))]
    after = values[max(end, run.first + plane) : end + plane]
    return all(np.ptp(each) > CHANGE_BESIDE for each in (before, after) if len(each))


def _runs(same: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where runs of equal rows begin, and how many rows each has; `same` is of row and next."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    first, last = edges.reshape(-1, 2).T
    return first, last - first + 1


def stuck_runs(planes: NDArray[np.float64]) -> list[StuckRun]:
    """Runs of equal rows, in the order of the file, that clipping does not explain.

    Clipping makes rows equal too, but only at the start of a line at the lowest value or at its
    end at the highest, and on the lines beside it as well. `planes` has shape (3, n, n, n).
    """
    size = planes.shape[1]
    same = np.ones(size**3 - 1, bool)
    for plane in planes:  # one by one: a large table fills the memory
        same &= np.abs(np.diff(_in_order(plane))) < SAME_VALUE
    lines = planes.transpose(3, 2, 1, 0)  # blue, green, red
    first, count = _runs(same)
    red = _in_order(planes[0])[first]
    # Red is at an end of its scale; over several lines it would have to change.
    at_an_end = (red <= planes[0].min() + CLIPPED_WITHIN) | (
        red >= planes[0].max() - CLIPPED_WITHIN
    )
    odd = (count >= SHORTEST_RUN) & ~(at_an_end & (count <= size))
    runs = (StuckRun(int(first[at]), int(count[at])) for at in np.flatnonzero(odd))
    return [each for each in runs if _is_wrong(lines, each)]


def _in_order(plane: NDArray[np.float64]) -> NDArray[np.float64]:
    """A channel in the order of the file's rows, shape (n³,)."""
    return plane.transpose(2, 1, 0).ravel()


def _is_wrong(lines: NDArray[np.float64], run: StuckRun) -> bool:
    """Whether every line beside a run changes by `CHANGE_BESIDE` over the same reds, or all
    of them hold one number there that the run differs from by `OUT_OF_PLATEAU`."""
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
    if len(beside) < FEWEST_BESIDE:
        return False
    around = np.array([lines[blue, green, reds] for blue, green in beside])
    if (np.ptp(around, axis=1).max(axis=1) > CHANGE_BESIDE).all():
        return True
    plateau = np.ptp(around, axis=(0, 1)) < SAME_VALUE
    stuck = lines[first[0] // size, first[0] % size, first[1]]
    return bool((np.abs(stuck - around[0, 0])[plateau] * CODES > OUT_OF_PLATEAU).any())


class DuplicateNodes(FindingKind):
    """A whole plane equals the one before it, between planes that differ."""

    code = "duplicate_nodes"
    limit = Limit(
        0.0,
        "share of planes",
        "clipping makes planes equal only at an end of the scale",
    )
    seen = "flat patches with hard edges where colour should be smooth"
    advice = "it was enlarged without interpolation, or a plane was written twice: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None or lut.coarse_bits:
            return  # coarse values repeat because they were rounded
        planes = measures.repeated_planes(lut.subject)
        share = len(planes) / (3 * (lut.subject.size - 1))
        if planes and share > self.limit_for(lut):
            axis, index = planes[0]
            node = [0, 0, 0]
            node[axis] = index
            where = f"{['red', 'green', 'blue'][axis]} plane {index + 1}"
            message = f"{len(planes)} planes of the table are written twice, the first {where}"
            if len(planes) == 1:
                message = f"a plane of the table is written twice: {where}"
            yield self.finding(lut, message, share, place=lut.at(tuple(node)))
