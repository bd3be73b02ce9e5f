"""The nodes that free fits use, and every source's light there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import DENSE, GREYS
from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.rising import rising_run
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.hdr import HlgSystemGamma
from lutbench.model.interpolation import Pchip
from lutbench.model.transforms import Array

MOST = 600
"""The most nodes near neutral that a fit uses, and the most away from it."""

FEWEST = 25
"""The fewest nodes for a fit."""

UNKNOWN_TO = 1.0
"""10-bit codes of error that are assumed where there are fewer."""

HALVED = 8.0
"""Times less by which a cubic misses where nodes are twice as close: two to the third power."""

BRIGHTEST = 1e9
"""The light to which brighter light is limited: thirty stops above white."""

REACH = 0.25
"""The share of the neutral axis over which the channels of a node near it may spread."""

NEAREST = 150
"""The fewest nodes that count as near."""


@dataclass(frozen=True)
class Source:
    """An end whose light goes in: of the scene, or of a display that shows HLG."""

    end: End
    rendering: HlgSystemGamma | None = None


@dataclass(frozen=True)
class Ground:
    """Chosen nodes: places on the axis (n, 3), outputs (n, 3); the neutral axis by `grid`.

    `neutral` (DENSE, 3) are outputs on the grid of full-scale inputs `grid`, a smooth
    curve through the neutral nodes that are clear of clipping; `spread` (n,) is how far the
    channels of a node lie apart on it. `floored` and `capped` tell whether it is clipped at
    its ends.
    """

    axis: Array
    places: NDArray[np.int64]
    outputs: Array
    grid: Array
    neutral: Array
    spread: Array
    floored: bool = False
    capped: bool = False
    plateaus: Array | None = None
    """The level beside each end of the axis, (2, 3): that of what is clipped before channels are
    mixed."""
    known_to: float = 0.0
    """The root mean square error in codes of the neutral axis between its nodes."""

    def only(self, rows: NDArray[np.int64]) -> Ground:
        """Some of the nodes."""
        return replace(
            self,
            places=self.places[rows],
            outputs=self.outputs[rows],
            spread=self.spread[rows],
        )

    def thinned(self, count: int) -> Ground:
        """At most `count` of the nodes."""
        return self.only(_evenly(len(self.outputs), count))

    def mixing(self) -> Ground:
        """The same for a form that mixes channels after the curve."""
        if self.plateaus is None:
            return self
        neutral = self.neutral.copy()
        neutral[[0, -1]] = self.plateaus
        return replace(self, neutral=neutral)

    @property
    def tinted(self) -> float:
        """Codes, root mean square, by which the channels of the neutral axis differ."""
        apart = self.neutral - self.neutral.mean(axis=1, keepdims=True)
        return float(np.sqrt(np.mean(apart**2)) * CODES)


def ground_of(samples: Samples) -> Ground | None:
    """None where the neutral axis does not rise, or too few nodes are clear of clipping."""
    run = rising_run(samples)
    if run is None:
        return None
    inputs, neutral = samples.neutral_in[run], samples.neutral[run]
    grid = np.linspace(inputs[0], inputs[-1], DENSE)
    dense = np.maximum.accumulate(Pchip(inputs, neutral)(grid), axis=0)
    flat = samples.table.reshape(-1, 3)
    low, high = dense[0], dense[-1]
    clear = np.flatnonzero(((flat > low) & (flat < high) & samples.inside(flat)).all(axis=1))
    if len(clear) < FEWEST:
        return None
    at = np.stack([np.interp(flat[clear, c], dense[:, c], grid) for c in range(3)], axis=1)
    spread = np.ptp(at, axis=1)
    order = np.argsort(spread, kind="stable")
    rng = np.random.default_rng(1)
    near, far = order[: len(order) // 3], order[len(order) // 3 :]
    some = np.concatenate([_some(rng, near, MOST), _some(rng, far, MOST)])
    rng.shuffle(some)
    rows = clear[some]
    size = len(samples.axis)
    places = np.array(np.unravel_index(rows, (size, size, size))).T
    return Ground(
        samples.axis,
        places,
        flat[rows],
        grid,
        dense,
        spread[some],
        run.start > 0,
        run.stop < len(samples.neutral_in),
        np.stack(
            [
                np.minimum(low, samples.neutral[max(run.start - 1, 0)]),
                np.maximum(high, samples.neutral[min(run.stop, len(samples.neutral) - 1)]),
            ]
        ),
        _known_to(inputs, neutral),
    )


def _known_to(inputs: Array, neutral: Array) -> float:
    """Codes that the axis is known to between its nodes: every other node by the rest, and less.

    The error of a monotone cubic falls with the cube of the distance of nodes.
    """
    if len(inputs) < GREYS:
        return UNKNOWN_TO
    even = len(inputs) - 1 + len(inputs) % 2
    told = Pchip(inputs[:even:2], neutral[:even:2])(inputs[1:even:2])
    return float(np.sqrt(np.mean((told - neutral[1:even:2]) ** 2)) * CODES / HALVED)


def _some(rng: np.random.Generator, rows: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    return rows if len(rows) <= count else rng.choice(rows, count, replace=False)


@dataclass(frozen=True)
class Lights:
    """Light of many sources: at the chosen nodes (s, n, 3), along the grid (s, DENSE), rising."""

    nodes: Array
    table: Array

    def only(self, chosen: NDArray[np.int64]) -> Lights:
        """The light of some of the sources."""
        return Lights(self.nodes[chosen], self.table[chosen])

    @property
    def middle(self) -> Array:
        """Light in the middle of the neutral axis, (s,)."""
        return np.asarray(np.maximum(self.table[:, self.table.shape[1] // 2], 1 / BRIGHTEST))

    def level(self) -> Lights:
        """The same with mid grey there, so that stops from it mean much the same for all."""
        gain = (MID_GREY / self.middle)[:, None]
        return Lights(self.nodes * gain[..., None], self.table * gain)


def together(several: Sequence[Lights]) -> Lights:
    """The light of all."""
    nodes = np.concatenate([each.nodes for each in several])
    return Lights(nodes, np.concatenate([each.table for each in several]))


def lights_of(ground: Ground, sources: Sequence[Source]) -> Lights:
    """Light of each source: each channel decoded, and rendered for a display where it says so."""
    tables = LightTables.of([source.end for source in sources])
    along = np.maximum.accumulate(tables.light(ground.grid), axis=1)
    along = np.clip(along, -BRIGHTEST, BRIGHTEST)
    axis = np.array([source.end.of_axis(ground.axis) for source in sources])
    axis = np.clip(np.nan_to_num(axis, nan=0.0), -BRIGHTEST, BRIGHTEST)
    nodes = axis[:, ground.places]
    for s, source in enumerate(sources):
        if source.rendering is not None:
            nodes[s] = source.rendering.apply(nodes[s])
            grey = source.rendering.apply(np.repeat(along[s][:, None], 3, axis=1))
            along[s] = np.maximum.accumulate(grey[:, 0])
    return Lights(nodes, along)


@dataclass(frozen=True)
class Lit:
    """Nodes and the light of sources there, which all forms share."""

    ground: Ground
    sources: Sequence[Source]
    lights: Lights

    @classmethod
    def of(cls, ground: Ground, sources: Sequence[Source]) -> Lit:
        """The nodes of a ground, lit by every source."""
        return cls(ground, sources, lights_of(ground, sources))

    def thinned(self, count: int) -> Lit:
        """At most `count` of the nodes."""
        return self._at(_evenly(len(self.ground.outputs), count))

    def near(self) -> Lit:
        """The nodes near neutral: what is clipped or compressed lies farther out."""
        spread = self.ground.spread
        limit = max(REACH, float(np.sort(spread)[min(NEAREST, len(spread) - 1)]))
        return self._at(np.flatnonzero(spread <= limit))

    def _at(self, rows: NDArray[np.int64]) -> Lit:
        lights = Lights(self.lights.nodes[:, rows], self.lights.table)
        return Lit(self.ground.only(rows), self.sources, lights)


def _evenly(count: int, most: int) -> NDArray[np.int64]:
    """At most `most` of `count` rows, evenly spread."""
    return np.linspace(0, count - 1, min(count, most)).astype(np.int64)
