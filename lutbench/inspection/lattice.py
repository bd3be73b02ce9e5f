"""Measures on a table: folds, noise, stray nodes, repeated planes, coarse values, channel order.

Second differences along the lattice separate a smooth table from a rough one. A value at
which the second difference has the opposite sign of both its neighbours stands out: a
smooth curve, a kink and a clipped end do not have that.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations, product
from math import comb
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.plateaus import islands
from lutbench.inspection.subject import CODES, Subject
from lutbench.model.transforms import Array, Mask
from lutbench.tables.cells import volumes
from lutbench.tables.traces import any_along, noise_level

Node = tuple[int, ...]

FOLD_DEPTH = 0.5 / CODES
"""Signal: half a 10-bit code; rounding a table to 10 bits can fold it by as much."""

DARK_LEAST_SIGNAL = 0.20
"""Input signal: in the dark corner the lowest channel is under this. Below the black of a log curve
light is negative, and gamut compression may fold such colours."""

DARK_MOST_SIGNAL = 0.45
"""Input signal: in the dark corner the highest channel is under this."""

CREASE_CODES = 300.0
"""10-bit codes times the nodes along an edge, from which a value stands out: see `stray`."""

CREASE_RATIO = 3.0
"""How many times further a wrong value must stand out than other places: creases cross at many
places, and a wrong number is alone."""

APART_NODES = 2
"""Nodes: two values nearer than this make each other stand out, and count as one place."""

CHECKED_VALUES = 20
"""The values that stand out most, this many, are checked along the diagonals too."""

SAME_NUMBER_SIGNAL = 2e-9
"""Signal: values nearer than this are the same number in a file."""

PLANE_ALIKE_SHARE = 0.9
"""Share of a plane's nodes: with this many equal, the plane repeats its neighbour."""

PLANE_DIFFERS_SHARE = 0.5
"""Share of a plane's nodes: with fewer equal, the planes differ. Clipping makes shares between."""

SLAB_PLANES = 16
"""Planes of cells that are worked on at once: at 256 nodes an array then takes 8 MB, not 134 MB."""


@dataclass(frozen=True, order=True)
class Spot:
    """A measure and the node where it is greatest."""

    value: float
    node: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Folds:
    """Tetrahedra in which colour runs backwards.

    `share` and `dark_share` are the folded share of the tetrahedra that are not clipped,
    outside and inside the dark corner. `mirrored` says that the whole lattice is turned inside
    out, as it is when two channels are swapped. `cells` counts the folded tetrahedra of each
    cell, shape (n − 1, n − 1, n − 1).
    """

    share: float
    dark_share: float
    worst: Spot
    mirrored: bool
    cells: NDArray[np.int8]


def folds(subject: Subject) -> Folds:
    """The folds of a lattice: tetrahedra with a negative Jacobian determinant."""
    forwards, balance = _folds(subject, 1.0)
    return forwards if balance >= 0 else _folds(subject, -1.0)[0]


def _folds(subject: Subject, sign: float) -> tuple[Folds, int]:
    """The tetrahedra against `sign`, and how many more have a positive determinant than a negative.

    Computed slab by slab along red, since a table of many nodes takes much memory.
    """
    planes = subject.planes
    clipped: Mask = np.asarray(subject.at_end.any(axis=0))
    m = planes.shape[1] - 1
    dark = _dark(m)
    cells = np.zeros((m, m, m), np.int8)
    counts = np.zeros((2, 2), np.int64)  # [bright, dark] × [folded, free]
    deepest = [Spot(0.0, (0, 0, 0))] * 2  # bright, dark
    balance = 0
    for start in range(0, m, SLAB_PLANES):
        end = min(start + SLAB_PLANES, m)
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
    """Which tetrahedra of one axis order have no clipped node."""
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
    return np.asarray((least <= DARK_LEAST_SIGNAL) & (most <= DARK_MOST_SIGNAL))


def noise(subject: Subject) -> float:
    """The standard deviation of noise on the values, in 10-bit codes: see `noise_level`."""
    return noise_level(subject.planes, subject.at_end) * CODES


def stray(subject: Subject) -> Spot:
    """The value that stands out most from its neighbours along all axes, in 10-bit codes.

    At a stray value the second (or fourth) difference has the opposite sign of both its
    neighbours along every axis, by about the same amount; a smooth curve, a kink and a ridge
    do not have that. A stray value stands out along the diagonals too; the crossing of two
    creases does not. Second differences find a code or less where the table is nearly
    straight; fourth differences find more where it is curved. To fourth differences the
    creases of a gamut compression measure up to 250 codes over the number of nodes, so those
    count from 300, and only if hardly any other place of the table measures as much.
    """
    size = subject.planes.shape[1]
    best = _lone(subject, 2, 0.5, others=2)
    if subject.planes.ndim == 4:
        cubic = _lone(subject, 4, 0.8, others=1)
        if cubic.value > max(best.value, CREASE_CODES / size):
            return cubic
    return best


def _lone(subject: Subject, order: int, alike: float, others: int) -> Spot:
    """The stray value by differences of an even order.

    Its score along an axis is the smaller of two estimates: from the difference at the value,
    and from those at its neighbours with the sign reversed. Its score is the least over the
    axes, and 0 unless the least difference is more than `alike` of the greatest. It has to
    stand out more than what is beside it, and `CREASE_RATIO` times as far as the first or
    second (`others`) of the other places.
    """
    planes = subject.planes
    axes, size, reach = planes.ndim - 1, planes.shape[1], order // 2 + 1
    if size < 2 * reach + 1:
        return Spot(0.0, (0,) * axes)
    found: list[tuple[float, int, tuple[int, ...]]] = []
    slab = SLAB_PLANES if axes == 3 else size
    for channel, start in product(range(len(planes)), range(0, size - 2 * reach, slab)):
        part = slice(channel, channel + 1), slice(start, start + slab + 2 * reach)
        score = _lone_scores(planes[part], subject.at_end[part], order, alike)[0]
        most = np.argpartition(score.ravel(), -min(CHECKED_VALUES, score.size))[-CHECKED_VALUES:]
        for at in most:
            first, *second = _node(int(at), score.shape)
            found.append((float(score.flat[at]), channel, (start + first, *second)))
    found.sort(key=lambda each: -each[0])
    places: list[tuple[float, int, Node]] = []
    for each in found:
        if all(max(map(abs, np.subtract(each[2], other[2]))) > APART_NODES for other in places):
            places.append(each)
        if len(places) > CHECKED_VALUES:
            break
    for at, (value, channel, inside) in enumerate(places[:CHECKED_VALUES]):
        rest = places[:at] + places[at + 1 :]
        beyond = rest[others - 1][0] if len(rest) >= others else 0.0
        node = tuple(each + reach for each in inside)
        if value >= CREASE_RATIO * beyond and _out_of_all(planes[channel], node, value):
            return Spot(value * CODES, node)
    return Spot(0.0, (0,) * axes)


def _lone_scores(planes: Array, at_end: Mask, order: int, alike: float) -> Array:
    """How much each inner value stands out, by channel, in signal; see `_lone`."""
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
    """Whether a value stands out to the same side along every diagonal too, by half its score.

    Where creases of a gamut compression cross, the table may bend alike along all axes, but
    not along all diagonals: along the neutral one nothing is compressed.
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
    """The planes that equal the one before, as (axis, index), between planes that differ.

    Clipping, before or after a look, makes neighbouring planes equal at an end of the scale,
    and equal in part elsewhere: neither is a plane that was written twice.
    """
    planes = subject.planes
    found = []
    for axis in range(3):
        same = (np.abs(np.diff(planes, axis=axis + 1)) < SAME_NUMBER_SIGNAL).all(axis=0)
        others = tuple(each for each in range(3) if each != axis)
        alike = same.mean(axis=others)
        differs = np.flatnonzero(alike < PLANE_DIFFERS_SHARE)
        if differs.size:
            within = range(int(differs[0]) + 1, int(differs[-1]))
            found += [(axis, k + 1) for k in within if alike[k] >= PLANE_ALIKE_SHARE]
    return found


def out_of_plateau(subject: Subject) -> Spot:
    """The lone value that differs most from the plateau around it, in 10-bit codes."""
    planes = subject.planes
    lone = [each for plane in planes for each in islands(plane) if each.count == 1]
    if not lone:
        return Spot(0.0, (0,) * (planes.ndim - 1))
    worst = max(lone, key=lambda each: each.codes)
    return Spot(worst.codes, worst.node(planes[0].shape))


def coarse_bits(subject: Subject) -> int | None:
    """The bit depth to whose codes the whole table is rounded, 4 to 12; None if it is to none.

    An identity of 16 nodes has values in steps of 1/15, which are 4-bit codes: a table whose
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


def channel_response(subject: Subject) -> Array:
    """How far each input channel moves each output channel: shape (3, 3), output × input.

    In signal per node: the mean step of the output along the input's axis, where not clipped.
    """
    planes, at_end = subject.planes, subject.at_end
    found = np.zeros((3, 3))
    for channel in range(3):
        for axis in range(3):
            free = ~any_along(at_end[channel], axis, 1)
            steps = np.abs(np.diff(planes[channel], axis=axis))[free]
            found[channel, axis] = float(steps.mean()) if steps.size else 0.0
    return found


REVERSED = (2, 1, 0)
"""The order of channels if red and blue have changed places, in the rows or in the channels."""


RIGHT = (0, 1, 2)  # the order of channels of a table as it should be
ALIKE_RATIO = 1.1  # times: the channels of a monochrome LUT, rounded, fit each other so well


def channel_order(subject: Subject) -> tuple[tuple[int, int, int], float]:
    """The input channel that each output channel follows, and how many times better that fits.

    Of the six orders it is the one with the greatest product of the three pulls. Together they
    tell more than each alone: where a gamut is compressed, swapped channels may follow two inputs
    almost alike.
    """
    if subject.planes.ndim == 2:
        return RIGHT, 1.0
    moved = channel_response(subject)
    fit = {order: float(moved[RIGHT, order].prod()) for order in permutations(RIGHT)}
    first, second, third = best = max(fit, key=fit.__getitem__)
    if fit[best] <= ALIKE_RATIO * fit[RIGHT]:
        return RIGHT, 1.0
    return (first, second, third), fit[best] / max(fit[RIGHT], np.finfo(float).tiny)


def unevenness(outputs: Array) -> Spot:
    """The step of a curve that differs most from what its neighbours suggest, as a share of them.

    A step is compared with the cubic through the two steps on each side, and with the wider
    and the narrower of the two beside it: between these it is a corner of the curve, not a
    band. 0.3 is a step 30 % wider or narrower than it should be. Steps at a clipped end are
    left out.

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
    """How far each value stands out along an axis (see `_lone`); two shorter along that axis."""

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
