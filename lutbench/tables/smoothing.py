"""Whether a table was smoothed after it was sampled, as its corners and its faces show.

Where a transform cuts off, its table has a corner between two nodes: the last node before the
plateau stands anywhere between it and the step before. Smoothing over neighbouring nodes
rounds every such corner alike, so that the last two nodes are always a small part of a step
off the plateau. A tone curve that eases into its white does that as well, but at a few places
only, the same on line after line.

At a face of the table smoothing needs values from outside. It usually repeats or mirrors the
nodes inside, and so shortens the first step from the face: by the same part on every line and
at every face, whatever the curve. A transform does that at one face at most, where its curve
has a toe or a shoulder.

If some Gaussian smoothed the table, undoing the very same filter brings the first nodes of every
line back to the curve that the nodes behind them lie on. For each line and each width, the filter
is undone along the line, and high differences at its end say on which side of the curve the end
then lies; the width at which it lies on the curve is the line's answer. In a table that was
smoothed, lines of all faces give the same answer. A toe or a shoulder of a transform answers at one
face at most, and at others contradicts. Where a table cuts off, the width shows as well: once the
right filter is undone, more nodes lie on a plateau than with any other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Array, Mask

ON_PLATEAU_SIGNAL = 1e-6
"""Signal: nearer than this to the end of its channel a value is on the plateau."""

STEEP_SIGNAL = 2e-3
"""Signal: two 10-bit codes; a corner of a lesser step is too weak to be looked at."""

LAST_STEP_SHARE = 0.05
"""Of a step: the most that the last node before the plateau is off it in nine corners of ten,
after a Gaussian of 0.4 nodes or more. Corners that were not smoothed have up to 0.9."""

FEWEST_CORNERS = 24
"""Corners that differ: fewer may be one tone curve, met on every line."""

TABLE_LINES = 33
"""Lines beside each other that are looked at along an edge of the table."""


def corner_left(planes: Array) -> float | None:
    """What is left of corners: how far the last node but one is off the last, in steps.

    The median over the corners of a table, shape (3, n, n, n); None where corners are too
    few, or not rounded alike. Corners that were not smoothed have 0.7 or so, and a curve
    that eases out quadratically 0.4.
    """
    if min(planes.shape[1:]) < 6:
        return None
    last, following = np.concatenate(list(_corners(planes))).T
    if (
        len(np.unique(np.round(following, 4))) < FEWEST_CORNERS
        or np.percentile(last, 90) >= LAST_STEP_SHARE
    ):
        return None
    return float(np.median(following))


def _corners(planes: Array) -> Iterator[Array]:
    """How far the last two nodes before a plateau are off, in the step before: (m, 2) each."""
    for plane in planes:
        for off in (plane - plane.min(), plane.max() - plane):
            for axis in range(3):
                lines = np.moveaxis(off, axis, -1)
                skip = max(1, len(lines) // TABLE_LINES)
                lines = lines[::skip, ::skip]
                yield _along(lines)
                yield _along(lines[..., ::-1])


STRAIGHT_STEP_SHARE = 0.03
"""Of a step: the third to fifth steps of a line change by so little more or less, that the first
can be predicted from them."""

TURN_STEP_SHARE = 0.15
"""Of a step: the most that the fourth step differs from the third, for the same reason."""

ALIKE_SHARE = 0.25
"""Of the shortening: the most that faces differ from each other in it; only smoothing shortens
faces at dark and at bright inputs by the same part."""

SPREAD_SHARE = 0.5
"""Of the shortening: the widest range of it, from the 10th to the 90th percentile of the lines
of a face."""

CUT_OFF_STEP_SHARE = 0.7
"""Of the first step: cut off rather than smoothed; a mirrored Gaussian of 1.5 nodes takes 0.65."""


def faces_shortened(planes: Array) -> float | None:
    """By which part of its length the first step from the faces of a table is too short.

    The median over the faces of a table, shape (3, n, n, n). None unless a face at dark and
    one at bright inputs can be judged, and all that can be judged agree.
    """
    if min(planes.shape[1:]) < 8:
        return None
    dark, bright = (
        [each for axis in range(3) if (each := _shortened(planes, axis, end)) is not None]
        for end in (1, -1)
    )
    if not dark or not bright:
        return None
    found = np.array(dark + bright)
    value = float(np.median(found[:, 0]))
    if np.abs(found[:, 0] - value).max() > ALIKE_SHARE * value:
        return None
    if np.median(found[:, 1]) > SPREAD_SHARE * value or value > CUT_OFF_STEP_SHARE:
        return None
    return value


def _shortened(planes: Array, axis: int, direction: int) -> tuple[float, float] | None:
    """The median shortening of the first step at a face, and its range over the lines."""
    parts = []
    for plane in planes:
        lines = np.moveaxis(plane, axis, -1)[..., ::direction][..., :6]
        steps = np.diff(lines, axis=-1)
        third, fourth, fifth = (steps[..., k] for k in (2, 3, 4))
        length = np.abs(third)
        fit = (length > STEEP_SIGNAL) & (np.abs(third - fourth) < TURN_STEP_SHARE * length)
        fit &= np.abs(third - 2 * fourth + fifth) < STRAIGHT_STEP_SHARE * length
        expected = 3 * third[fit] - 2 * fourth[fit]
        parts.append(1 - steps[fit][:, 0] / expected)
    part = np.concatenate(parts)
    if len(part) < FEWEST_CORNERS:
        return None
    low, middle, high = np.percentile(part, [10, 50, 90])
    return float(middle), float(high - low)


def _along(off: NDArray[np.float64]) -> Array:
    """The corners where lines, along the last axis, reach the plateau."""
    flat = off < ON_PLATEAU_SIGNAL
    reached = flat[..., 3:-1] & flat[..., 4:] & ~flat[..., 2:-2]
    third, second, last = (off[..., k : k - 4][reached] for k in (0, 1, 2))
    step = third - second
    steep = (step > STEEP_SIGNAL) & (second > last)
    return np.stack([last[steep], (second - last)[steep]], axis=-1) / step[steep, None]


Beyond = Literal["nearest", "mirror"]
"""What a filter takes for the nodes beyond a face: the last node again, or those inside."""

WIDTHS = np.array([0.0, *np.arange(0.3, 1.021, 0.04)])
"""Nodes (standard deviation): a wider Gaussian cannot be undone with six decimals."""

ORDERS = (3, 4, 5, 6)
"""Orders of the differences at the end of a line: where two of them give the same width, the
curve of the line is simple enough to be continued to its end."""

SAME_WIDTH_NODES = 0.04
"""Nodes: two answers that differ by less are the same; the distance between `WIDTHS`."""

NEAR_NODES = 0.06
"""Nodes: answers of different lines and faces may differ by so much."""

STEP_SIGNAL = 5e-4
"""Signal: half a 10-bit code; on lines with lesser steps rounding decides."""

REACH_NODES = 8
"""Nodes at the end of a line that are looked at, and the fewest along an edge, less one."""

FEWEST_LINES = 24
"""Lines of a face that answer: fewer may be one curve."""

FACE_LINES = 16
"""Lines beside each other that are looked at along an edge of a face."""

LEAST_ANSWERS_SHARE = 0.2
"""Of the lines of a face: fewer answers are chance."""

LEAST_NEAR_SHARE = 0.5
"""Of the answers of a face that agree with the width: the smallest share."""

MOST_CONTRADICT = (0.6, 0.4)
"""Of the lines of a face, and of all faces on average, whose end is further off the curve once
the filter is undone. In tables that were not smoothed a face with 0.96 or more was found."""


@dataclass(frozen=True, eq=False)
class Face:
    """The lines that end at a face: what each answers (NaN: nothing), and whether it contradicts.

    `off` are the fourth differences at the ends of the lines, by width: shape (lines, widths).
    """

    bright: bool
    answers: Array
    off: Array

    @property
    def given(self) -> Array:
        """The answers that there are."""
        return self.answers[~np.isnan(self.answers)]


def gaussian_undone(planes: Array) -> float | None:
    """The width in nodes of the Gaussian that explains the faces of a table; None without one.

    `planes` has shape (3, n, n, n).
    """
    if planes.shape[1] <= REACH_NODES:
        return None
    found = [each for each in (_width(planes, "nearest"), _width(planes, "mirror")) if each]
    return min(found)[1] if found else None


def _width(planes: Array, beyond: Beyond) -> tuple[float, float] | None:
    """How far the answers are from the width on average, and the width; None without one."""
    faces = [
        face
        for axis in range(1, 4)
        for end in (1, -1)
        if (face := _face(planes, axis, end, beyond)) is not None
    ]
    telling = [face for face in faces if len(face.given) >= FEWEST_LINES]
    if len({face.bright for face in telling}) < 2:
        return None
    answers = np.concatenate([face.given for face in telling])
    width = float(np.median(answers))
    if not all(_agrees(face, width) for face in telling):
        return None
    at = int(np.argmin(np.abs(WIDTHS - width)))
    against = [float((np.abs(face.off[:, at]) > np.abs(face.off[:, 0])).mean()) for face in faces]
    one, mean = MOST_CONTRADICT
    if max(against) >= one or np.mean(against) >= mean:
        return None
    return float(np.abs(answers - width).mean()), width


def _agrees(face: Face, width: float) -> bool:
    given = face.given
    return bool(
        len(given) >= LEAST_ANSWERS_SHARE * len(face.answers)
        and abs(float(np.median(given)) - width) < NEAR_NODES
        and (np.abs(given - width) < NEAR_NODES).mean() > LEAST_NEAR_SHARE
    )


def _face(planes: Array, axis: int, end: int, beyond: Beyond) -> Face | None:
    """The lines that rise or fall throughout at a face; None where they are too few."""
    size = planes.shape[1]
    skip = max(1, size // FACE_LINES)
    lines = np.moveaxis(planes, axis, -1)[:, ::skip, ::skip, ::end].reshape(-1, size)
    steps = np.diff(lines[:, : REACH_NODES - 1], axis=1)
    lines = lines[(steps > STEP_SIGNAL).all(axis=1) | (steps < -STEP_SIGNAL).all(axis=1)]
    if len(lines) < FEWEST_LINES:
        return None
    off = np.moveaxis((lines @ _ends(size, beyond)).reshape(len(lines), len(WIDTHS), -1), 2, 0)
    answers = np.full(len(lines), np.nan)
    lower = _zero(off[0])
    for each in off[1:]:
        higher = _zero(each)
        same = np.isnan(answers) & (np.abs(lower - higher) < SAME_WIDTH_NODES)
        answers, lower = np.where(same, higher, answers), higher
    return Face(end < 0, answers, off[ORDERS.index(4)])


@cache
def _ends(size: int, beyond: Beyond) -> Array:
    """What undoes each width along a line and takes the differences at its start.

    Shape (size, widths × orders): lines times it are the differences.
    """
    start = np.eye(size)[:REACH_NODES]
    differences = np.array([np.diff(start, n=order, axis=0)[0] for order in ORDERS])
    each = [np.linalg.solve(gaussian(size, w, beyond).T, differences.T) for w in WIDTHS]
    return np.concatenate(each, axis=1)


def gaussian(size: int, width: float, beyond: Beyond) -> Array:
    """A Gaussian along a line, cut off at four widths, as a matrix: shape (size, size)."""
    if width == 0:
        return np.eye(size)
    reach = int(4 * width + 0.5)
    offsets = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (offsets / width) ** 2)
    taken = np.arange(size)[:, None] + offsets
    if beyond == "nearest":
        taken = np.clip(taken, 0, size - 1)
    else:
        taken = size - 1 - np.abs(size - 1 - np.abs(taken))
    matrix = np.zeros((size, size))
    np.add.at(matrix, (np.arange(size)[:, None], taken), weights / weights.sum())
    return matrix


def _zero(off: Array) -> Array:
    """The width at which each line's difference changes its sign; NaN where it never does.

    `off` has shape (lines, widths). Below the first width the effect grows with its square.
    """
    turns: Mask = np.sign(off[:, 1:]) != np.sign(off[:, :-1])
    at = turns.argmax(axis=1)
    row = np.arange(len(off))
    before, after = np.abs(off[row, at]), np.abs(off[row, at + 1])
    part = before / np.maximum(before + after, np.finfo(float).tiny)
    part = np.where(at == 0, np.sqrt(part), part)
    width = WIDTHS[at] + part * (WIDTHS[at + 1] - WIDTHS[at])
    return np.where(turns.any(axis=1), width, np.nan)


ROUNDED_STEP_SHARE = 0.2
"""Of a step: what is left of corners that were smoothed; without smoothing it is 0.4 to 1."""

TRIED_NODES = np.arange(0.3, 1.021, 0.02)
"""Widths: a wider Gaussian cannot be undone with six decimals."""

FINER_NODES = (0.01, 0.005, 0.0025, 0.00125, 0.0006)
"""Nodes to either side of the best width so far at which it is looked for."""

FLAT_SIGNAL = 1e-3
"""Signal: a 10-bit code within which a value lies on a plateau."""

MORE_SHARE = 0.01
"""The share of the nodes by which more must lie on plateaus once the filter is undone."""

NOISE_TIMES = 4.0
"""Times the noise within which a value on a plateau may lie: one in ten thousand lies farther."""


@dataclass(frozen=True)
class Unsmoothed:
    """A table (n, n, n, 3) before smoothing, the width in nodes of the Gaussian, and by how much
    undoing it raises the error of rounding."""

    table: Array
    width: float
    gain: float


def unsmoothed(table: Array, step: float) -> Unsmoothed | None:
    """The table (n, n, n, 3) before it was smoothed; None where it shows no such smoothing.

    `step` is that of its rounding, as signal.
    """
    left = corner_left(np.moveaxis(table, -1, 0))
    if left is None or left >= ROUNDED_STEP_SHARE:
        return None
    flat = [_flat(table[..., c], table[..., c]) for c in range(3)]
    plane = np.ascontiguousarray(table[..., int(np.argmin(np.abs(np.array(flat) - 0.5)))])
    plain = _flat(plane, plane)
    share, width, beyond = max(
        (_sharpest(plane, "nearest", step), _sharpest(plane, "mirror", step)),
        key=lambda each: each[0],
    )
    if share < plain + MORE_SHARE:
        return None
    back = _inverse(len(table), width, beyond, step)
    gain = float(np.sqrt((back**2).sum(axis=1).mean()) ** 3)
    low, high = (end(axis=(0, 1, 2)) for end in (table.min, table.max))
    found = _filtered(table, back)
    near = NOISE_TIMES * gain * step
    found = np.where(found < low + near, low, np.where(found > high - near, high, found))
    return Unsmoothed(found, width, gain)


def _sharpest(plane: Array, beyond: Beyond, step: float) -> tuple[float, float, Beyond]:
    """The share of nodes on plateaus with the best width, and that width."""

    def share(width: float) -> float:
        return _flat(_filtered(plane, _inverse(len(plane), width, beyond, step)), plane)

    best = max((share(float(width)), float(width)) for width in TRIED_NODES)
    for move in FINER_NODES:
        best = max(best, *((share(best[1] + to), best[1] + to) for to in (-move, move)))
    return *best, beyond


def _flat(values: Array, smooth: Array) -> float:
    """The share of values on the plateaus of a channel, which smoothing leaves."""
    ends = (np.abs(values - end) < FLAT_SIGNAL for end in (smooth.min(), smooth.max()))
    return float(np.logical_or(*ends).mean())


def _filtered(table: Array, matrix: Array) -> Array:
    """A table with a matrix along each edge."""
    for axis in range(3):
        table = np.moveaxis(np.tensordot(matrix, table, (1, axis)), 0, axis)
    return table


def _inverse(size: int, width: float, beyond: Beyond, step: float) -> Array:
    """What undoes a Gaussian along a line, as far as rounding allows."""
    matrix = gaussian(size, width, beyond)
    return np.asarray(np.linalg.solve(matrix.T @ matrix + step**2 * np.eye(size), matrix.T), float)
