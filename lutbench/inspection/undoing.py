"""Whether some Gaussian explains how a table ends at its faces, shown by undoing it.

At a face smoothing has no neighbours on one side, so the first nodes of every line are off
the curve that the nodes behind them lie on. Undoing the very same filter brings them back.
For each line and each width, the filter is undone along the line, and high differences at its
end say on which side of the curve the end then lies; the width at which it lies on the curve
is the line's answer. In a table that was smoothed, lines of all faces give the same answer. A
toe or a shoulder of a transform answers at one face at most, and at others contradicts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from lutbench.model.transforms import Array, Mask

Beyond = Literal["nearest", "mirror"]
"""What a filter takes for the nodes beyond a face: the last node again, or those inside."""

WIDTHS = np.array([0.0, *np.arange(0.3, 1.021, 0.04)])
"""Nodes (standard deviation): a wider Gaussian cannot be undone with six decimals."""

ORDERS = (3, 4, 5, 6)
"""Orders of the differences at the end of a line: where two of them give the same width, the
curve of the line is simple enough to be continued to its end."""

SAME_WIDTH = 0.04
"""Nodes: two answers that differ by less are the same; the distance between `WIDTHS`."""

NEAR = 0.06
"""Nodes: answers of different lines and faces may differ by so much."""

STEP = 5e-4
"""Signal: half a 10-bit code; on lines with lesser steps rounding decides."""

REACH = 8
"""Nodes at the end of a line that are looked at, and the fewest along an edge, less one."""

FEWEST = 24
"""Lines of a face that answer: fewer may be one curve."""

LINES = 16
"""Lines beside each other that are looked at along an edge of a face."""

LEAST_ANSWERS = 0.2
"""Of the lines of a face: fewer answers are chance."""

LEAST_NEAR = 0.5
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
    if planes.shape[1] <= REACH:
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
    telling = [face for face in faces if len(face.given) >= FEWEST]
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
        len(given) >= LEAST_ANSWERS * len(face.answers)
        and abs(float(np.median(given)) - width) < NEAR
        and (np.abs(given - width) < NEAR).mean() > LEAST_NEAR
    )


def _face(planes: Array, axis: int, end: int, beyond: Beyond) -> Face | None:
    """The lines that rise or fall throughout at a face; None where they are too few."""
    size = planes.shape[1]
    skip = max(1, size // LINES)
    lines = np.moveaxis(planes, axis, -1)[:, ::skip, ::skip, ::end].reshape(-1, size)
    steps = np.diff(lines[:, : REACH - 1], axis=1)
    lines = lines[(steps > STEP).all(axis=1) | (steps < -STEP).all(axis=1)]
    if len(lines) < FEWEST:
        return None
    off = np.moveaxis((lines @ _ends(size, beyond)).reshape(len(lines), len(WIDTHS), -1), 2, 0)
    answers = np.full(len(lines), np.nan)
    lower = _zero(off[0])
    for each in off[1:]:
        higher = _zero(each)
        same = np.isnan(answers) & (np.abs(lower - higher) < SAME_WIDTH)
        answers, lower = np.where(same, higher, answers), higher
    return Face(end < 0, answers, off[ORDERS.index(4)])


@cache
def _ends(size: int, beyond: Beyond) -> Array:
    """What undoes each width along a line and takes the differences at its start.

    Shape (size, widths × orders): lines times it are the differences.
    """
    start = np.eye(size)[:REACH]
    differences = np.array([np.diff(start, n=order, axis=0)[0] for order in ORDERS])
    each = [np.linalg.solve(_filter(size, w, beyond).T, differences.T) for w in WIDTHS]
    return np.concatenate(each, axis=1)


def _filter(size: int, width: float, beyond: Beyond) -> Array:
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
