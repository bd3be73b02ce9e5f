"""The data for identification: the nodes of a LUT, its neutral axis, plateaus and noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.identification.common import SIX_DECIMALS
from lutbench.identification.curvebank import scale_of
from lutbench.model.signal import CODES_10_BIT, Range
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, axes_of, lattice_of
from lutbench.tables.nodes import (
    before_shaper,
    channels_alike,
    check_domain,
    checked_outputs,
    diagonal,
    domain_of,
    greys,
)
from lutbench.tables.smoothing import unsmoothed
from lutbench.tables.traces import shrunk, straight_from

CODES = CODES_10_BIT
"""Errors are in 10-bit codes of the file's full scale; one that nothing foretells is all of it."""

MOST = 33
"""Nodes along an edge that are used; a larger LUT is thinned to as many."""

FEW = 17
"""Nodes along an edge where many hypotheses are compared, which keeps the time short."""

SETTLED = 9
"""Decimals of outputs that count. Files hold fewer; beyond them the last digit of a sum could move
a value across 0, 1 or the break of a curve.
"""

FEW_DECIMALS = (4, 5)
"""Decimals that files are written with beside six."""

WHOLE = 0.01
"""Steps by which values may lie off whole ones then: those of float32 lie nearer."""

NOISE = 2 / CODES
"""Full-scale value by which noise of a code moves two nodes apart."""

BLUR = 3 / CODES
"""Full-scale value by which a plateau that noise blurs ends under its peak: three codes."""

NOISE_CODES = 0.58
"""10-bit codes, root mean square, of uniform noise of a code to either side: one over root 3."""

PILE_SHARE = 0.02
"""The least share of the nodes that a pile holds."""

PILE_OVER = 8
"""Times what the second value beside it holds that a pile must hold."""

PILE_BESIDE = 2
"""The place of that value: a pile may spill onto one other."""

PILE_NOISE = 1.05 / CODES
"""Noise of a code spreads a pile this far to either side."""

BLURRED_OVER = 3.5
"""What a pile holds times the second stretch beside it, where noise spreads it."""

FEWEST_ROWS = 16
"""Rows of a shaper that show whether it is a logarithm."""

SHARP = 0.8
"""A sharp plateau holds at least this share of what is near; noise held to 0..1 leaves half."""


@dataclass(frozen=True, eq=False)
class Samples:
    """The nodes of a LUT.

    Parameters
    ----------
    axis
        Shape (m,): the inputs of the nodes along each edge, full-scale values.
    table
        Shape (m, m, m, 3), indexed ``[r, g, b, channel]``.
    neutral_in, neutral
        Shapes (n,) and (n, 3): the neutral axis, with every node of the LUT.
    low, high
        Shape (3,): the lowest and the highest output of each channel.
    margin
        How far inside `low` and `high` a value must lie to count as not clipped.
    step
        The step of a table rounded to 8, 10, 12 or 16 bits, or to 4 or 5 decimals; else 0.
    one_d
        Whether the LUT is 1D, so that only its neutral axis means anything.
    piles
        Shape (3,): for each channel a value between `low` and `high` that far more nodes
        have than any other: a clip before a look, or the 0 that stands for light without a
        signal; NaN where there is none.
    smoothed
        The width in nodes of a Gaussian that smoothed the table, and that has been undone.
    """

    axis: Array
    table: Array
    neutral_in: Array
    neutral: Array
    low: Array
    high: Array
    margin: float
    step: float
    one_d: bool
    piles: Array
    smoothed: float = 0.0

    @property
    def floor(self) -> float:
        """The root mean square error in codes of rounding alone."""
        return float(max(self.step, SIX_DECIMALS) / np.sqrt(12) * CODES)

    @property
    def noise(self) -> float:
        """The root mean square error in codes to expect: of rounding, or of a code of noise."""
        return max(self.floor, NOISE_CODES if self.blurred else 0.0)

    @cached_property
    def planes(self) -> Array:
        """`table` with each channel contiguous in memory."""
        return np.moveaxis(np.ascontiguousarray(np.moveaxis(self.table, -1, 0)), 0, -1)

    @cached_property
    def clear(self) -> NDArray[np.bool_]:
        """Which values of `table` are clear of all plateaus."""
        return self.inside(self.planes)

    def inside(self, values: Array) -> NDArray[np.bool_]:
        """Which values of (..., 3) are clear of all plateaus."""
        clear = (values > self.low + self.margin) & (values < self.high - self.margin)
        if np.isfinite(self.piles).any():
            reach = PILE_NOISE if self.blurred else 2 * SIX_DECIMALS
            clear &= ~(np.abs(values - self.piles) <= reach)
        return np.asarray(clear)

    @property
    def blurred(self) -> bool:
        """Whether noise blurs the plateaus."""
        return self.margin >= BLUR

    @cached_property
    def grey(self) -> bool:
        """Whether all channels come out alike, to a step of rounding."""
        apart = 0.0 if self.one_d else float(np.ptp(self.table, axis=-1).max())
        return not self.one_d and apart <= 1.5 * max(self.step, SIX_DECIMALS)

    @property
    def clipped(self) -> bool:
        """Whether the output stays within 0..1, as that of a LUT that clips does."""
        return bool(self.low.min() >= -SIX_DECIMALS and self.high.max() <= 1 + SIX_DECIMALS)

    def within(self, low: float, high: float) -> bool:
        """Whether the output stays within a range, as that of a LUT that clips there does."""
        slack = max(self.margin, 0.5 / CODES)
        return bool(self.low.min() >= low - slack and self.high.max() <= high + slack)

    def held(self, values: Array) -> Array:
        """`values` clipped at the plateaus, as the LUT clips."""
        held = np.empty_like(values)
        for c in range(3):
            np.clip(values[..., c], self.low[c], self.high[c], out=held[..., c])
        return held

    @cached_property
    def few(self) -> Samples:
        """Fewer nodes, which are enough to compare hypotheses; all nodes of a 1D LUT."""
        if self.one_d or len(self.axis) <= FEW:
            return self
        some = _spread(len(self.axis), FEW)
        return replace(self, axis=self.axis[some], table=self.table[np.ix_(some, some, some)])

    @property
    def nodes(self) -> Array:
        """The inputs of `table`, shape (m, m, m, 3)."""
        return lattice_of(self.axis, self.axis, self.axis)


def samples_of(lut: Transform) -> Samples:
    """The samples of a LUT, or of any transform over 0..1.

    Raises
    ------
    LutbenchError
        When the output is constant, so that there is nothing to identify.
    """
    check_domain(lut)
    if isinstance(lut, Lut1D):
        return _of_1d(lut)
    axis, table = _lattice_of(lut)
    step = max(_step(table.reshape(-1, 3)), SIX_DECIMALS)
    before = unsmoothed(table, step)
    table = table if before is None else before.table
    neutral = diagonal(table)
    some = _spread(len(axis), MOST)
    made = _samples(axis[some], table[np.ix_(some, some, some)], axis, neutral, one_d=False)
    if before is None:
        return made
    return replace(made, step=step * before.gain, smoothed=before.width)


def _of_1d(lut: Lut1D) -> Samples:
    if channels_alike(lut.domain):
        axis = axes_of(lut)[:, 0]
        neutral = lut.table.astype(np.float64)
    else:
        axis = np.linspace(lut.domain.min(), lut.domain.max(), max(lut.size, 256))
        neutral = np.asarray(lut.apply(greys(axis)))
    rows = _spread(len(axis), MOST)
    table = lattice_of(*neutral[rows].T)
    fewer = _spread(len(axis), 1024)
    return _samples(axis[rows], table, axis[fewer], neutral[fewer], one_d=True)


def _spread(count: int, most: int) -> NDArray[np.int64]:
    """Indices below `count`, evenly spread with both ends, at most `most`."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.int64))


def _lattice_of(lut: Transform) -> tuple[Array, Array]:
    """The inputs along an edge and the table; resampled where the edges differ."""
    if isinstance(lut, Lut3D) and channels_alike(lut.domain):
        table = _as_made(lut.table.astype(float))
        return np.linspace(lut.domain[0, 0], lut.domain[1, 0], len(table)), table
    if isinstance(lut, ShaperLut3D):
        axis = _axis_through(lut)
        if axis is not None:
            return axis, lut.lut.table.astype(float)
    domain = domain_of(lut)
    axis = np.linspace(domain.min(), domain.max(), MOST)
    return axis, np.asarray(lut.apply(lattice_of(axis, axis, axis)), dtype=float)


def _as_made(table: Array) -> Array:
    """The table, or the smaller one it was enlarged from, whose nodes hold all it says."""
    found = straight_from(np.moveaxis(table, -1, 0))
    return table if found is None else shrunk(table, found[0])


def _axis_through(lut: ShaperLut3D) -> Array | None:
    """The inputs that the shaper maps to the nodes; None where it is not one rising curve."""
    curve = lut.shaper.table[:, 0].astype(float)
    nodes = axes_of(lut.lut)[:, 0]
    alike = channels_alike(lut.shaper.domain) and channels_alike(lut.lut.domain)
    one = np.abs(lut.shaper.table - curve[:, None]).max() < SIX_DECIMALS
    covers = curve[0] <= nodes[0] + SIX_DECIMALS and curve[-1] >= nodes[-1] - SIX_DECIMALS
    if not (alike and one and covers):
        return None
    found = _logarithm_before(lut.shaper, nodes)
    if found is not None or not (np.diff(curve) > 0).all():
        return found
    return before_shaper(lut.shaper, greys(nodes))[:, 0]


def _logarithm_before(shaper: Lut1D, nodes: Array) -> Array | None:
    """The inputs of nodes where the rows of a shaper lie on a logarithm; None where they do not.

    In the dark such a shaper has few rows for many nodes, so that chords between them are far
    from the curve that the nodes were made for.
    """
    curve = shaper.table[:, 0].astype(float)
    rows = axes_of(shaper)[:, 0]
    free = (rows > 0) & (curve > curve[0] + SIX_DECIMALS) & (curve < curve[-1] - SIX_DECIMALS)
    if free.sum() < FEWEST_ROWS:
        return None
    stops, seen = np.log2(rows[free]), curve[free]
    slope, offset = np.polyfit(stops, seen, 1)
    if slope <= 0 or np.abs(slope * stops + offset - seen).max() > 2 * SIX_DECIMALS:
        return None
    return np.asarray(2.0 ** ((nodes - offset) / slope))


def _samples(axis: Array, table: Array, neutral_in: Array, neutral: Array, one_d: bool) -> Samples:
    checked_outputs(table.reshape(-1, 3))
    table, neutral = (np.round(each, SETTLED) + 0.0 for each in (table, neutral))
    flat = table.reshape(-1, 3)
    low, high = flat.min(axis=0), flat.max(axis=0)
    if (high - low).max() < 1e-4:
        raise LutbenchError("every input gives the same output, so there is nothing to identify")
    step = _step(flat)
    margin = max(_margin(flat, low, high), 0.75 * step)
    piles = np.full(3, np.nan)
    if not one_d:
        find = _blurred_pile if margin >= BLUR else _pile
        piles = np.array([find(flat[:, c]) for c in range(3)])
    return Samples(axis, table, neutral_in, neutral, low, high, margin, step, one_d, piles)


def _pile(values: Array) -> float:
    """A value between the ends that far more nodes have than any other; NaN for none."""
    places, counts = np.unique(np.round(values / SIX_DECIMALS), return_counts=True)
    if len(places) < PILE_BESIDE + 3:
        return float("nan")
    # The ends are plateaus already.
    order = np.sort(counts[1:-1])[::-1]
    most, usual = order[0], order[PILE_BESIDE]
    if most < PILE_SHARE * len(values) or most < PILE_OVER * usual:
        return float("nan")
    return float(places[1 + np.argmax(counts[1:-1])] * SIX_DECIMALS)


def _blurred_pile(values: Array) -> float:
    """The same with noise of a code: the middle of a stretch with far more nodes than others.

    A sharp pile counts too.
    """
    sharp = _pile(values)
    if np.isfinite(sharp):
        return sharp
    order = np.sort(values)
    inside = order[(order > order[0] + BLUR) & (order < order[-1] - BLUR)]
    if not len(inside):
        return float("nan")
    width = 2 * PILE_NOISE
    held = np.searchsorted(inside, inside + width, side="right") - np.arange(len(inside))
    first = int(held.argmax())
    most = int(held[first])
    # The rest in stretches as wide, counted from the ends of the pile.
    _, below = np.unique((inside[first] - inside[:first]) // width, return_counts=True)
    _, above = np.unique((inside[first + most :] - inside[first]) // width, return_counts=True)
    others = np.sort(np.concatenate([below, above]))[::-1]
    usual = others[PILE_BESIDE - 1] if len(others) >= PILE_BESIDE else most
    if most < PILE_SHARE * len(values) or most < BLURRED_OVER * usual:
        return float("nan")
    return float(inside[first : first + most].mean())


def _step(flat: Array) -> float:
    for bits in (8, 10, 12, 16):
        codes = flat * (2**bits - 1)
        # Six decimals of a file blur a code by this much.
        if np.abs(codes - np.round(codes)).max() < (2**bits - 1) * SIX_DECIMALS:
            return 1 / (2**bits - 1)
    for decimals in FEW_DECIMALS:
        scaled = flat * 10.0**decimals
        if np.abs(scaled - np.round(scaled)).max() < WHOLE:
            return float(10.0**-decimals)
    return 0.0


def _margin(flat: Array, low: Array, high: Array) -> float:
    """The margin for plateaus: wide where noise blurs them, else for six decimals."""
    for end in (low, high):
        near = np.abs(flat - end) < BLUR
        at = np.abs(flat - end) < 2 * SIX_DECIMALS
        if near.sum() > 0.02 * flat.size and at.sum() < SHARP * near.sum():
            return BLUR
    return 5 * SIX_DECIMALS


def range_seen(samples: Samples) -> Range | None:
    """The output's range where its plateaus show it; else None."""
    if not samples.clipped:
        return None
    low, span = scale_of("legal")
    black, white = samples.low, samples.high
    # Noise carries the extremes beyond the plateaus.
    near = 3e-4 + (1.5 / CODES if samples.blurred else 0.0)
    if np.abs(black - low).max() < near or np.abs(white - (low + span)).max() < near:
        return "legal"
    if black.min() < low - 0.01 or white.max() > low + span + 0.01:
        return "full"
    return None
