"""The tone curve of a LUT as a table, fitted to the light and signal of every node."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import scale_of
from lutbench.identification.hypothesis import Hypothesis, ToneTarget
from lutbench.identification.samples import Samples
from lutbench.model.curves.base import Curve
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.curves.usable import why_unusable
from lutbench.model.transforms import Array, Pipeline
from lutbench.splitting.frame import MOST

NAME = "tone curve"
"""The name of a tone curve in a recipe's definitions."""

KNOTS = 1025
"""Rows of the fitted table."""

SMOOTHNESS = tuple(10.0**power for power in range(-14, -3))
"""Weights of squared second differences against squared errors that are tried."""

REACH = (-0.5, 1.5)
"""The source signals that a table may span: a matrix gives light beyond 0..1."""

BRIGHTEST = 9e5
"""Light at which a table ends: just under the largest value that a table may hold."""

BENDS_TO = 1e5
"""The light up to which a table may bend."""

FARTHEST = 0.5
"""Source signal by which a curve is continued straight, at most, to where the LUT clips."""

CLIPPED_SHARE = 0.01
"""The least share of the nodes at a level at which a LUT clips."""

FEWEST = 64
"""The fewest pairs of light and signal that a table is fitted to."""

FLAT = 1e-9
"""The rise of signal per row in flat stretches: a table has to rise."""


def tone_table(hypothesis: Hypothesis, samples: Samples) -> Curve:
    """Light (after the exposure) to signal, from all nodes of a LUT whose target is a tone curve.

    Each channel of each node that is clear of clipping gives a pair: light, by
    source, matrix and exposure, and signal, the grade undone. Over the source's
    own signal, in which a lattice is even, straight pieces are fitted to them,
    smoothed as much as suits pairs that were left out of the fit best. Beyond the pairs
    the curve continues straight to the level at which the LUT clips, and stays there.

    Where the nodes give no better curve, that of the hypothesis is returned.
    """
    target = hypothesis.target
    assert isinstance(target, ToneTarget)
    gain = 2.0**hypothesis.stops
    low, span = scale_of(target.range)
    light = hypothesis.light(hypothesis.source.decode(samples.nodes))
    place = _source_signal(hypothesis, light / gain)
    signal = (samples.table - low) / span
    try:
        signal = Pipeline(hypothesis.grade).inverse().apply(signal)
    except LutbenchError:
        return target.curve
    clear = np.asarray(samples.inside(samples.table)).all(axis=-1, keepdims=True)
    fine = clear & (place > REACH[0]) & (place < REACH[1]) & np.isfinite(signal)
    if fine.sum() < FEWEST:
        return target.curve
    grid, fitted = _Table.of(place[fine], signal[fine]).solved()
    clip_levels = (-np.inf, np.inf)
    if not hypothesis.grade:
        clip_levels = (
            (_plateau(samples, samples.low, -np.inf) - low) / span,
            (_plateau(samples, samples.high, np.inf) - low) / span,
        )
    grid, fitted = _ended(grid, fitted, clip_levels)
    lights = np.clip(_light_of(hypothesis, grid) * gain, -BENDS_TO, BENDS_TO)
    lights, fitted = _flat_beyond(lights, fitted, clip_levels)
    table = _tabulated(lights, fitted)
    return table if table and _nearer(table, hypothesis, samples) else target.curve


def _nearer(table: Curve, hypothesis: Hypothesis, samples: Samples) -> bool:
    """Whether `table` explains the nodes better than the curve of the hypothesis."""
    assert isinstance(hypothesis.target, ToneTarget)
    errors = []
    for curve in (table, hypothesis.target.curve):
        trial = replace(hypothesis, target=replace(hypothesis.target, curve=curve))
        values = trial.apply(samples.nodes, clip=samples.clipped)
        miss = np.abs(np.clip(np.nan_to_num(values), -1, 2) - np.clip(samples.table, -1, 2))
        errors.append(float(miss.mean()))
    return errors[0] <= errors[1]


def _plateau(samples: Samples, level: Array, otherwise: float) -> float:
    """The level at which a LUT clips, if at least one node in a hundred is there."""
    at = (np.abs(samples.table - level) <= samples.margin).mean()
    return float(level.mean()) if at >= CLIPPED_SHARE else otherwise


def _source_signal(hypothesis: Hypothesis, light: Array) -> Array:
    with np.errstate(all="ignore"):
        return np.asarray(hypothesis.source.curve.curve.encode(light))


def _light_of(hypothesis: Hypothesis, signal: Array) -> Array:
    with np.errstate(all="ignore"):
        return np.asarray(hypothesis.source.curve.curve.decode(signal))


@dataclass(frozen=True)
class _Table:
    """Pairs on a grid of knots: normal equations of two halves, so that one checks the other."""

    low: float
    high: float
    halves: tuple[tuple[Array, Array], tuple[Array, Array]]

    @classmethod
    def of(cls, place: Array, signal: Array) -> _Table:
        if len(place) > MOST:
            some = np.random.default_rng(0).choice(len(place), MOST, replace=False)
            place, signal = place[some], signal[some]
        low, high = float(place.min()), float(place.max())
        order = np.random.default_rng(1).random(len(place)) < 0.5
        return cls(low, high, ((place[order], signal[order]), (place[~order], signal[~order])))

    def solved(self) -> tuple[Array, Array]:
        """Knots, and the curve there, with the smoothness that predicts left-out pairs best."""
        errors = []
        for smoothness in SMOOTHNESS:
            (fit, signal), (place, wanted) = self.halves
            values = self._solve(fit, signal, smoothness)
            errors.append(np.median(np.abs(np.interp(place, self.grid, values) - wanted)))
        best = SMOOTHNESS[int(np.argmin(errors))]
        place, signal = (np.concatenate(each) for each in zip(*self.halves, strict=True))
        return self.grid, self._solve(place, signal, best)

    @property
    def grid(self) -> Array:
        return np.linspace(self.low, self.high, KNOTS)

    def _solve(self, place: Array, signal: Array, smoothness: float) -> Array:
        from scipy.linalg import solveh_banded

        steps = (place - self.low) / (self.high - self.low) * (KNOTS - 1)
        left = np.clip(steps.astype(int), 0, KNOTS - 2)
        part = steps - left
        count = len(place)
        bands = np.zeros((3, KNOTS))
        bands[0] += np.bincount(left, (1 - part) ** 2, KNOTS) / count
        bands[0] += np.bincount(left + 1, part**2, KNOTS) / count
        bands[1, :-1] += np.bincount(left, part * (1 - part), KNOTS)[:-1] / count
        right = np.bincount(left, (1 - part) * signal, KNOTS)
        right += np.bincount(left + 1, part * signal, KNOTS)
        bend = smoothness * float(KNOTS - 1) ** 3
        # Second differences squared: 1 -2 1 along the line.
        inner = np.arange(KNOTS - 2)
        for k, a in enumerate((1.0, -2.0, 1.0)):
            bands[0, inner + k] += bend * a * a
        bands[1, inner] += bend * -2.0
        bands[1, inner + 1] += bend * -2.0
        bands[2, inner] += bend
        bands[0] += 1e-15
        return np.asarray(solveh_banded(bands, right / count, lower=True))


def _ended(grid: Array, fitted: Array, clip_levels: tuple[float, float]) -> tuple[Array, Array]:
    """The curve between the levels at which the LUT clips, continued straight to meet them."""
    low, high = clip_levels
    step = grid[1] - grid[0]
    keep = (fitted > low) & (fitted < high)
    grid, fitted = grid[keep], fitted[keep]
    if len(grid) < 4:
        return grid, fitted
    rises = ((fitted[1] - fitted[0]) / step, (fitted[-1] - fitted[-2]) / step)
    ways = (low - fitted[0], high - fitted[-1])
    for sign, level, rise, way in zip((-1, 1), clip_levels, rises, ways, strict=True):
        if not np.isfinite(level) or rise <= 0:
            continue
        far = max(min(abs(way) / rise, FARTHEST), 0.01 * step)
        if sign < 0:
            grid, fitted = np.append(grid[0] - far, grid), np.append(level, fitted)
        else:
            grid, fitted = np.append(grid, grid[-1] + far), np.append(fitted, level)
    return grid, fitted


def _flat_beyond(
    lights: Array, signal: Array, clip_levels: tuple[float, float]
) -> tuple[Array, Array]:
    """Rows beyond a level at which the LUT clips: flat for any further light.

    The last row is at signal 0 or 1 where it can be, so that the curve has an
    inverse on all of the signal.
    """
    low, high = clip_levels
    if signal[0] == low:
        lights = np.append([-BRIGHTEST, -BRIGHTEST / 2], lights)
        signal = np.append([min(0.0, low - 2 * FLAT), low - FLAT], signal)
    if signal[-1] == high:
        lights = np.append(lights, [BRIGHTEST / 2, BRIGHTEST])
        signal = np.append(signal, [high + FLAT, max(1.0, high + 2 * FLAT)])
    return lights, signal


def _tabulated(light: Array, signal: Array) -> Tabulated | None:
    """The rows that rise as a curve; None where there are too few."""
    kept_light: list[float] = []
    kept: list[float] = []
    for x, y in zip(light.tolist(), signal.tolist(), strict=True):
        if not np.isfinite(x):
            continue
        apart = not kept or (
            np.arcsinh(x / 0.01) - np.arcsinh(kept_light[-1] / 0.01) > 1e-9
            and y - kept[-1] >= FLAT / 2
        )
        if apart:
            kept_light.append(x)
            kept.append(y)
    try:
        table = Tabulated(NAME, tuple(kept_light), tuple(kept))
    except LutbenchError:
        return None
    return None if why_unusable(table) else table
