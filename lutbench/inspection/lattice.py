"""Measures on a table: folds, noise, stray nodes, repeated nodes, coarse values, channel order.

Differences along the lattice tell a smooth table from a rough one. Where a
second difference has the opposite sign of both its neighbours, the value between
them stands out: a smooth curve, a kink and a clipped end do not do that.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import comb
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.subject import CODES, Subject
from lutbench.model.transforms import Array
from lutbench.tables.cells import volumes
from lutbench.tables.noise import any_along, noise_level

Mask = NDArray[np.bool_]
Node = tuple[int, ...]

FOLD_DEPTH = 0.5 / CODES
"""Signal: half a 10-bit code, which rounding a table to 10 bits may turn over, is no fold."""

DARK_LEAST, DARK_MOST = 0.20, 0.45
"""Signal of one channel at most, and of all: under the black of a log curve light is negative,
and compressing a gamut may turn such colours over."""

CREASES = 300.0
"""10-bit codes times the nodes along an edge, from which a value stands out: see `stray`."""

CREASES_ALIKE = 3.0
"""How many times further a wrong value stands out than other places: where creases cross they do
so again and again, and a wrong number stands alone."""
APART = 2
"""Nodes: nearer than this, two values stand out of one another."""

LOOKED_AT = 20
"""Values, those that stand out most, that are looked at along the diagonals too."""

SAME_NUMBER = 2e-9
"""Signal: values nearer than this are one number in a file."""

PLANE_ALIKE, PLANE_DIFFERS = 0.9, 0.5
"""Share of a plane's nodes: from the first it is its neighbour again, under the second it is not.
Clipping fills the room between gradually."""


SLAB = 16
"""Planes of cells worked on at once: at 256 nodes the arrays take 8 MB each, not 134."""


@dataclass(frozen=True, order=True)
class Spot:
    """A measure and the node where it is greatest."""

    value: float
    node: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Folds:
    """Tetrahedra in which colour runs backwards.

    `share` and `dark_share` count folded ones among those not clipped, outside
    and inside the dark corner; `mirrored` says that the whole lattice is turned
    over, as it is when two channels are swapped. `cells` counts folded
    tetrahedra a cell, shape (n − 1, n − 1, n − 1).
    """

    share: float
    dark_share: float
    worst: Spot
    mirrored: bool
    cells: NDArray[np.int8]


def folds(subject: Subject) -> Folds:
    """Where the lattice runs backwards: negative Jacobian determinants of its tetrahedra."""
    forwards, balance = _folds(subject, 1.0)
    return forwards if balance >= 0 else _folds(subject, -1.0)[0]


def _folds(subject: Subject, sign: float) -> tuple[Folds, int]:
    """The folds where `sign` is that of most tetrahedra, and how many more there are of +1.

    Slab by slab along red, since a table of many nodes takes much memory.
    """
    planes = subject.planes
    clipped: Mask = np.asarray(subject.at_end.any(axis=0))
    m = planes.shape[1] - 1
    dark = _dark(m)
    cells = np.zeros((m, m, m), np.int8)
    counts = np.zeros((2, 2), np.int64)  # [bright, dark] × [folded, free]
    deepest = [Spot(0.0, (0, 0, 0))] * 2  # bright, dark
    balance = 0
    for start in range(0, m, SLAB):
        end = min(start + SLAB, m)
        for order, det, areas in volumes(planes[:, start : end + 1]):
            margin = FOLD_DEPTH * areas
            balance += int((det > margin).sum()) - int((det < -margin).sum())
            folded = _free(clipped[start : end + 1], order)
            places = (folded & ~dark[start:end], folded & dark[start:end])
            counts[:, 1] += [place.sum() for place in places]
            folded &= sign * det < -margin
            cells[start:end] += folded
            for row, place in enumerate(places):
                depth = np.where(folded & place, -sign * det, 0.0)
                counts[row, 0] += np.count_nonzero(depth)
                at = int(np.argmax(depth))
                r, g, b = _node(at, depth.shape)
                deepest[row] = max(deepest[row], Spot(float(depth.flat[at]), (start + r, g, b)))
    share, dark_share = (folded / max(free, 1) for folded, free in counts.tolist())
    worst = deepest[0] if counts[0, 0] else deepest[1]
    depth_in_codes = Spot(float(np.cbrt(worst.value)) * CODES, worst.node)
    return Folds(share, dark_share, depth_in_codes, sign < 0, cells), balance


def _free(clipped: Mask, order: tuple[int, ...]) -> Mask:
    """Which tetrahedra of one order have no node at an end of the scale."""
    spans = [size - 1 for size in clipped.shape]
    offset = [0, 0, 0]
    free: Mask = ~clipped[tuple(slice(0, span) for span in spans)]
    for axis in order:
        offset[axis] += 1
        free &= ~clipped[tuple(slice(o, o + s) for o, s in zip(offset, spans, strict=True))]
    return free


def _dark(m: int) -> Mask:
    """Which cells of a lattice lie in the dark corner."""
    top = np.arange(1, m + 1) / m
    r, g, b = top[:, None, None], top[None, :, None], top[None, None, :]
    least = np.minimum(np.minimum(r, g), b)
    most = np.maximum(np.maximum(r, g), b)
    return np.asarray((least <= DARK_LEAST) & (most <= DARK_MOST))


def noise(subject: Subject) -> float:
    """The standard deviation of noise on the values, in 10-bit codes: see `noise_level`."""
    return noise_level(subject.planes, subject.at_end) * CODES


def stray(subject: Subject) -> Spot:
    """The value that stands out most from its neighbours along all axes, in 10-bit codes.

    A lone value turns the sign of the second (or fourth) difference against both
    neighbours, and bends all axes alike; a smooth curve, a kink and a ridge do not.
    It stands out along the diagonals too, which where creases cross a node does not.
    Second differences see a code or less where the table is nearly straight,
    fourth differences more where it is curved; but creases of a gamut compression look
    like 250 codes over the number of nodes to those, so they count from 300, and only
    where hardly any other place of the table looks like that.
    """
    size = subject.planes.shape[1]
    best = _lone(subject, 2, 0.5, others=2)
    if subject.planes.ndim == 4:
        cubic = _lone(subject, 4, 0.8, others=1)
        if cubic.value > max(best.value, CREASES / size):
            return cubic
    return best


def _lone(subject: Subject, order: int, alike: float, others: int) -> Spot:
    """The lone value by differences of an even order.

    Along each axis: the least of what the difference says of the value itself and of
    what its neighbours say, with the sign turned; then the least over the axes,
    where the least bend is more than `alike` of the greatest. It has to stand out further
    than what is beside it, and three times as far as the first or second of the other places
    (`others`).
    """
    planes = subject.planes
    axes, size, reach = planes.ndim - 1, planes.shape[1], order // 2 + 1
    if size < 2 * reach + 1:
        return Spot(0.0, (0,) * axes)
    found: list[tuple[float, int, tuple[int, ...]]] = []
    slab = SLAB if axes == 3 else size
    for channel, start in product(range(len(planes)), range(0, size - 2 * reach, slab)):
        part = slice(channel, channel + 1), slice(start, start + slab + 2 * reach)
        score = _lone_scores(planes[part], subject.at_end[part], order, alike)[0]
        most = np.argpartition(score.ravel(), -min(LOOKED_AT, score.size))[-LOOKED_AT:]
        for at in most:
            first, *second = _node(int(at), score.shape)
            found.append((float(score.flat[at]), channel, (start + first, *second)))
    found.sort(key=lambda each: -each[0])
    places: list[tuple[float, int, Node]] = []
    for each in found:
        if all(max(map(abs, np.subtract(each[2], other[2]))) > APART for other in places):
            places.append(each)
        if len(places) > LOOKED_AT:
            break
    for at, (value, channel, inside) in enumerate(places[:LOOKED_AT]):
        rest = places[:at] + places[at + 1 :]
        beyond = rest[others - 1][0] if len(rest) >= others else 0.0
        node = tuple(each + reach for each in inside)
        if value >= CREASES_ALIKE * beyond and _out_of_all(planes[channel], node, value):
            return Spot(value * CODES, node)
    return Spot(0.0, (0,) * axes)


def _lone_scores(planes: Array, at_end: Mask, order: int, alike: float) -> Array:
    """How much each inner value stands out, by channel; see `_lone`."""
    axes, reach = planes.ndim - 1, order // 2 + 1
    inner = slice(reach, -reach)
    own, beside = comb(order, order // 2), comb(order, order // 2 - 1)
    score, least, most = (np.asarray(each) for each in (np.inf, np.inf, -np.inf))
    for axis in range(1, axes + 1):
        bend = np.diff(planes, n=order, axis=axis) * (-1 if order == 2 else 1)
        other: list[Any] = [slice(None), *([inner] * axes)]
        other[axis] = slice(None)
        touched = any_along(at_end, axis, 2 * reach)[tuple(other)]
        alone = np.where(touched, 0.0, _alternation(bend, axis, own, beside)[tuple(other)])
        score = np.minimum(score, alone)
        middle = list(other)
        middle[axis] = slice(1, bend.shape[axis] - 1)
        bent = np.abs(bend[tuple(middle)])
        least, most = np.minimum(least, bent), np.maximum(most, bent)
    return np.where(least <= alike * most, 0.0, score)


def _out_of_all(plane: Array, node: tuple[int, ...], score: float) -> bool:
    """Whether a value stands out to one side along every diagonal too, by half its score.

    Where creases of a gamut compression cross, a node may bend all axes alike, but not
    all diagonals: on the neutral one nothing is compressed.
    """
    at = np.array(node)
    around = [np.array(each) for each in product((-1, 0, 1), repeat=plane.ndim)]
    here = float(plane[node])
    bends = [
        2 * here - float(plane[tuple(at + each)] + plane[tuple(at - each)])
        for each in around[len(around) // 2 + 1 :]
    ]
    return min(bends) >= score or max(bends) <= -score


def repeated_planes(subject: Subject) -> list[tuple[int, int]]:
    """The planes that are like the one before, as (axis, index), between planes that differ.

    Clipping, before a look or after it, makes neighbouring planes alike up to an end
    of the scale, and elsewhere alike in part: neither is a plane that was written twice.
    """
    planes = subject.planes
    found = []
    for axis in range(3):
        same = (np.abs(np.diff(planes, axis=axis + 1)) < SAME_NUMBER).all(axis=0)
        others = tuple(each for each in range(3) if each != axis)
        alike = same.mean(axis=others)
        differs = np.flatnonzero(alike < PLANE_DIFFERS)
        if differs.size:
            within = range(int(differs[0]) + 1, int(differs[-1]))
            found += [(axis, k + 1) for k in within if alike[k] >= PLANE_ALIKE]
    return found


def out_of_plateau(subject: Subject) -> Spot:
    """The value that stands out most from neighbours that are all one number.

    Where a channel is clipped, neighbours along every axis are alike on both sides;
    a table that rises or falls along each axis cannot leave one node out of them.
    """
    axes = subject.planes.ndim - 1
    if subject.planes.shape[1] < 3:
        return Spot(0.0, (0,) * axes)
    return max(_out_of_plateau(plane) for plane in subject.planes)


def _out_of_plateau(plane: Array) -> Spot:
    inner = (slice(1, -1),) * plane.ndim
    here = plane[inner]
    out, side = np.full(here.shape, np.inf), np.zeros(here.shape)
    for axis in range(plane.ndim):
        before, after = (
            plane[(*inner[:axis], part, *inner[axis + 1 :])]
            for part in (slice(None, -2), slice(2, None))
        )
        level = np.abs(before - after) < SAME_NUMBER
        out = np.minimum(out, np.where(level, np.abs(here - before), 0.0))
        side += np.sign(here - before)
    score = np.where(np.abs(side) == plane.ndim, out, 0.0)
    at = int(np.argmax(score))
    return Spot(float(score.flat[at]) * CODES, tuple(each + 1 for each in _node(at, score.shape)))


def coarse_bits(subject: Subject) -> int | None:
    """The bit depth on whose code values the whole table stands, 4 to 12; None for none.

    An identity of 16 nodes stands on 15ths, which are 4-bit codes: a table whose
    values are steps of its own lattice is not coarse.
    """
    values = np.unique(subject.planes)
    if values[0] < -1e-6 or values[-1] > 1 + 1e-6 or len(values) <= 8:
        return None
    own = values * (subject.planes.shape[1] - 1)
    if np.abs(own - np.rint(own)).max() < 0.001:
        return None
    for bits in range(4, 13):
        scaled = values * (2**bits - 1)
        if np.abs(scaled - np.rint(scaled)).max() < 0.004 * max(1, 2**bits / 1024):
            return bits
    return None


def pull(subject: Subject) -> Array:
    """How far each input channel moves each output channel: shape (3, 3), output × input.

    The mean step of the output along the axis of the input, where it is not clipped.
    """
    planes, at_end = subject.planes, subject.at_end
    found = np.zeros((3, 3))
    for channel in range(3):
        for axis in range(3):
            free = ~any_along(at_end[channel], axis, 1)
            steps = np.abs(np.diff(planes[channel], axis=axis))[free]
            found[channel, axis] = float(steps.mean()) if steps.size else 0.0
    return found


def channel_order(subject: Subject) -> tuple[int, int, int]:
    """The input channel that moves each output channel most: (0, 1, 2) is as it should be."""
    if subject.planes.ndim == 2:
        return (0, 1, 2)
    moved = pull(subject)
    strongest = moved.argmax(axis=1)
    # A swap is plain: the other channel moves it at least twice as much as its own.
    clear = moved.max(axis=1) >= 2 * np.diag(moved)
    first, second, third = np.where(clear, strongest, np.arange(3)).tolist()
    return first, second, third


def unevenness(outputs: Array) -> Spot:
    """The step of a curve that fits its neighbours least, against the wider of the two.

    A step is held against the cubic through the two steps on each side, and against the
    wider and the narrower of the two beside it: between these it is the corner of a curve,
    not a band. 0.3 is a step 30 % wider or narrower than it should be. Steps at a clipped
    end do not count.

    Parameters
    ----------
    outputs
        Shape (m,), at equal steps of the input.
    """
    steps = np.diff(outputs)
    if len(steps) < 5:
        return Spot(0.0, (0,))
    low, high = outputs.min() + 1e-5, outputs.max() - 1e-5
    ended = (outputs <= low) | (outputs >= high)
    usable = ~(ended[1:] | ended[:-1])
    expected = (-steps[:-4] + 4 * steps[1:-3] + 4 * steps[3:-1] - steps[4:]) / 6
    before, here, after = steps[1:-3], steps[2:-2], steps[3:-1]
    beyond = np.maximum(here - np.maximum(before, after), np.minimum(before, after) - here)
    miss = np.minimum(np.abs(here - expected), np.maximum(beyond, 0))
    wider = np.maximum(np.abs(before), np.abs(after))
    # Under one 10-bit code a step is not seen, whatever its neighbours are.
    ratio = miss / np.maximum(wider, 1.0 / CODES)
    whole = usable[:-4] & usable[1:-3] & usable[2:-2] & usable[3:-1] & usable[4:]
    ratio = np.where(whole, ratio, 0.0)
    at = int(np.argmax(ratio))
    return Spot(float(ratio[at]), (at + 2,))


def _alternation(bend: Array, axis: int, own: int, beside: int) -> Array:
    """How far a lone value stands out: see `_lone`. Two shorter along the axis."""

    def part(start: int) -> Array:
        index: list[Any] = [slice(None)] * bend.ndim
        index[axis] = slice(start, bend.shape[axis] - 2 + start)
        return np.asarray(bend[tuple(index)])

    here = part(1) / own
    up = np.minimum(here, np.maximum(part(0), part(2)) / -beside)
    down = np.minimum(-here, np.minimum(part(0), part(2)) / beside)
    return np.asarray(np.maximum(np.maximum(up, down), 0.0))


def _node(flat: int, shape: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(int(each) for each in np.unravel_index(flat, shape))
