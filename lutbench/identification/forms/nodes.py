"""The nodes that free fits look at, and every source's light there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.ground import rising_run
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.hdr import HlgSystemGamma
from lutbench.model.transforms import Array

GRID = 2048
"""Points of the tables over the neutral axis."""

INNER, NEAR, FAR = 250, 600, 600
"""Nodes with inputs next to neutral, with outputs near it, and away from it that a fit looks at."""

FEWEST = 12
"""Nodes without which nothing can be fitted."""

NOTHING = -2.0
"""Full-scale output under this stands for a node that is not to be used."""

REACH, NEAREST = 0.25, 150
"""Nodes whose channels spread over no more of the axis are near it; so many at least."""


@dataclass(frozen=True)
class Source:
    """An end whose light goes in: of the scene, or of a display that shows HLG."""

    end: End
    rendering: HlgSystemGamma | None = None


@dataclass(frozen=True)
class Ground:
    """Chosen nodes: places on the axis (n, 3), outputs (n, 3); the neutral axis by `grid`.

    `neutral` (GRID, 3) are outputs on the grid of full-scale inputs `grid`, a smooth
    curve through the neutral nodes that are clear of clipping; `spread` (n,) is how far the
    channels of a node lie apart on it. After `others` nodes come those next to neutral.
    `floored` and `capped` tell whether it is clipped at its ends.
    """

    axis: Array
    places: NDArray[np.int64]
    outputs: Array
    grid: Array
    neutral: Array
    spread: Array
    others: int
    floored: bool = False
    capped: bool = False

    def only(self, rows: NDArray[np.int64]) -> Ground:
        """Some of the nodes."""
        return replace(
            self,
            others=len(rows),
            places=self.places[rows],
            outputs=self.outputs[rows],
            spread=self.spread[rows],
        )

    def thinned(self, count: int) -> Ground:
        """So many of the nodes, or all."""
        n = self.others
        return self.only(np.linspace(0, n - 1, min(n, count)).astype(np.int64))

    def near(self) -> Ground:
        """The nodes near neutral: what is clipped or compressed lies farther out."""
        spread = self.spread[: self.others]
        limit = max(REACH, float(np.sort(spread)[min(NEAREST, len(spread) - 1)]))
        return self.only(np.flatnonzero(spread <= limit))

    def inner(self) -> Ground:
        """The nodes whose inputs are nearest to neutral: nothing clipped them before a look."""
        return self.only(np.arange(self.others, len(self.outputs)))

    @property
    def tinted(self) -> float:
        """Codes, root mean square, by which the channels of the neutral axis differ."""
        apart = self.neutral - self.neutral.mean(axis=1, keepdims=True)
        return float(np.sqrt(np.mean(apart**2)) * CODES)


def ground_of(samples: Samples) -> Ground | None:
    """None where the neutral axis does not rise, or too few nodes are clear of clipping."""
    from scipy.interpolate import PchipInterpolator

    run = rising_run(samples)
    if run is None:
        return None
    inputs, neutral, ends = _with_ends(samples, run)
    grid = np.linspace(inputs[0], inputs[-1], GRID)
    dense = np.maximum.accumulate(PchipInterpolator(inputs, neutral)(grid), axis=0)
    dense = np.clip(dense, *ends)
    flat = samples.table.reshape(-1, 3)
    low, high = dense[0], dense[-1]
    clear = np.flatnonzero(((flat > low) & (flat < high) & samples.inside(flat)).all(axis=1))
    if len(clear) < FEWEST:
        return None
    at = np.stack([np.interp(flat[clear, c], dense[:, c], grid) for c in range(3)], axis=1)
    spread = np.ptp(at, axis=1)
    size = len(samples.axis)
    steps = _from_neutral(np.array(np.unravel_index(clear, (size, size, size))).T, samples, run)
    rng = np.random.default_rng(1)
    shuffled = rng.permutation(len(clear))
    # What lies within some steps of a clear neutral was not clipped before a look.
    inner = shuffled[np.argsort(steps[shuffled], kind="stable")[:INNER]]
    order = np.argsort(spread, kind="stable")
    near, far = order[: len(order) // 3], order[len(order) // 3 :]
    some = np.concatenate([_some(rng, near, NEAR), _some(rng, far, FAR)])
    rng.shuffle(some)
    others = len(some)
    some = np.concatenate([some, inner])
    rows = clear[some]
    places = np.array(np.unravel_index(rows, (size, size, size))).T
    return Ground(
        samples.axis,
        places,
        flat[rows],
        grid,
        dense,
        spread[some],
        others,
        run.start > 0,
        run.stop < len(samples.neutral_in),
    )


def _from_neutral(places: NDArray[np.int64], samples: Samples, run: slice) -> Array:
    """How far apart the inputs of nodes lie, in steps of the lattice; those beyond the run last."""
    inputs = samples.axis[places]
    low, high = samples.neutral_in[run.start], samples.neutral_in[run.stop - 1]
    beyond = ((inputs < low) | (inputs > high)).any(axis=1)
    return np.asarray(np.ptp(places, axis=1) + beyond * float(len(samples.axis)))


def _with_ends(samples: Samples, run: slice) -> tuple[Array, Array, tuple[Array, Array]]:
    """The clear neutral axis with a node more where it clips, as it goes on there, and the levels.

    Between the last clear node and the first clipped one the curve runs into the level: on in a
    parabola, and at least to the level.
    """
    inputs, neutral = samples.neutral_in, samples.neutral
    start, stop = run.start, run.stop
    places, values = inputs[run], neutral[run]
    low, high = np.full(3, -np.inf), np.full(3, np.inf)
    if start > 0 and (neutral[start - 1] > NOTHING).all():
        low = neutral[start - 1]
        on = np.minimum(3 * values[0] - 3 * values[1] + values[2], low)
        places, values = np.r_[inputs[start - 1], places], np.vstack([on, values])
    if stop < len(inputs) and (neutral[stop] > NOTHING).all():
        high = neutral[stop]
        on = np.maximum(3 * values[-1] - 3 * values[-2] + values[-3], high)
        places, values = np.r_[places, inputs[stop]], np.vstack([values, on])
    return places, values, (low, high)


def _some(rng: np.random.Generator, rows: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    return rows if len(rows) <= count else rng.choice(rows, count, replace=False)


@dataclass(frozen=True)
class Lights:
    """Light of many sources: at the chosen nodes (s, n, 3), along the grid (s, GRID), rising."""

    nodes: Array
    table: Array

    def only(self, chosen: NDArray[np.int64]) -> Lights:
        return Lights(self.nodes[chosen], self.table[chosen])


def lights_of(ground: Ground, sources: Sequence[Source]) -> Lights:
    """Light of each source: each channel decoded, and rendered for a display where it says so."""
    tables = LightTables.of([source.end for source in sources])
    along = np.maximum.accumulate(tables.light(ground.grid), axis=1)
    axis = np.array([source.end.of_axis(ground.axis) for source in sources])
    axis = np.nan_to_num(axis, nan=0.0, posinf=1e9, neginf=-1e9)
    nodes = axis[:, ground.places]
    for s, source in enumerate(sources):
        if source.rendering is not None:
            nodes[s] = source.rendering.apply(nodes[s])
            grey = source.rendering.apply(np.repeat(along[s][:, None], 3, axis=1))
            along[s] = np.maximum.accumulate(grey[:, 0])
    return Lights(nodes, along)
