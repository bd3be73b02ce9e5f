"""Free fits: out = Q·N(L⁻¹(M·L)) in the space of a form, for many sources at once.

L is the light of a source, N the neutral axis of the LUT itself, M and Q matrices that
keep neutrals. With a given L the neutral axis stands for target, tone and exposure in
one, so that only M and Q are unknown: two numbers a row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import STEP, TINY
from lutbench.identification.curvebank import End
from lutbench.identification.forms.linear import ENTRIES, OTHERS, rows_of
from lutbench.identification.forms.nodes import Ground, Lights
from lutbench.identification.samples import CODES
from lutbench.model.interpolation import interp_rows
from lutbench.model.transforms import Array, Transform

EDGE = 0.02
"""The share of the neutral axis at each end that first fits leave out."""

SHARE = 0.6
"""The quantile of the errors of predicted nodes by which a fit is judged: a look, or clipping,
may spoil the rest."""

LEAST_SEEN = 0.25
"""The least share of nodes that must be predicted."""

KNOWN_TO = 0.05
"""10-bit codes of error of the neutral axis between its nodes."""

FEWER = 0.25
"""The share of nodes that sets the scale in later steps: others may be clipped or have a look."""

REACH = 1e-4
"""Full-scale signal to either side over which a slope of light is taken."""

FLATTEST = 1e-3
"""The least slope of light: a node weighs no more than it would there."""

BLACK = 1e-3
"""Light up to this share of that in the middle of the axis is black, to either side."""

MOST_GAIN = 0.5
"""The most change of a gain in a step, as a natural logarithm."""

GAIN_STEPS = 4
"""Steps to the gains of channels, after which they hardly change."""

MOST_STEP = 0.3
"""The most change of a matrix entry in a step."""


@dataclass(frozen=True)
class Space:
    """Where the second matrix acts: outputs and the neutral axis there, and codes per unit."""

    outputs: Array
    neutral: Array
    codes: Array


def signal_space(ground: Ground) -> Space:
    """The signal itself."""
    return Space(ground.outputs, ground.neutral, np.full(ground.outputs.shape, CODES))


def light_space(ground: Ground, display: End) -> Space:
    """The light of a display."""
    light = np.nan_to_num(display.light_near(ground.outputs))
    above, below = (display.light_near(ground.outputs + step) for step in (REACH, -REACH))
    rise = np.nan_to_num(above - below) / (2 * REACH)
    neutral = np.maximum.accumulate(np.nan_to_num(display.light_near(ground.neutral)), axis=0)
    return Space(light, neutral, CODES / np.maximum(rise, FLATTEST))


@dataclass(frozen=True)
class Model:
    """The nodes of a fit, the light of its sources there, and the space of what comes after."""

    ground: Ground
    lights: Lights
    space: Space
    compression: Transform | None = None

    def first(self, mixing: Array) -> Array:
        """M of every source, (s, 3, 3), by linear least squares with a given Q, (3, 3)."""
        ground, lights = self.ground, self.lights
        back = np.linalg.inv(mixing)
        neutral, wanted = self.space.neutral @ back.T, self.space.outputs @ back.T
        size = len(ground.grid)
        aim, weight = np.empty((2, len(lights.table), *wanted.shape))
        for c in range(3):
            rising = np.maximum.accumulate(neutral[:, c]) + 1e-12 * np.arange(size)
            place = np.interp(wanted[:, c], rising, np.arange(size))
            inside = (place > EDGE * size) & (place < (1 - EDGE) * size)
            cell = np.minimum(place.astype(np.int64), size - 2)
            low, high = lights.table[:, cell], lights.table[:, cell + 1]
            aim[..., c] = low + (place - cell) * (high - low)
            slope = (rising[cell + 1] - rising[cell]) * self.space.codes[:, c] * inside
            weight[..., c] = slope / np.maximum(high - low, 1e-12)
        if self.compression is not None:
            aim = self.compression.inverse().apply(aim)
        return rows_of(lights.nodes, aim, weight)

    def misses(self, matrix: Array, mixing: Array) -> Array:
        """The error for given M and Q of each source, in codes, (s, n, 3); NaN if unpredicted."""
        return self._predicted(matrix, mixing)[0]

    def refined(
        self, matrix: Array, mixing: Array, mixed: bool, steps: int, hold: float = 1e-6
    ) -> tuple[Array, Array, Array]:
        """M, Q and the error of each source: the best of all Gauss-Newton steps."""
        predicted = self._predicted(matrix, mixing)
        best_m, best_q, best = matrix, mixing, typical(predicted[0])
        for _ in range(steps):
            matrix, mixing = self._step(matrix, mixing, predicted, mixed, hold)
            predicted = self._predicted(matrix, mixing)
            error = typical(predicted[0])
            better = error < best
            best_m = np.where(better[:, None, None], matrix, best_m)
            best_q = np.where(better[:, None, None], mixing, best_q)
            best = np.where(better, error, best)
        return best_m, best_q, best

    def _places(self, light: Array) -> Array:
        """Where on the axis light lies; beyond its ends -1 or one too many, where not clipped."""
        ground, table = self.ground, self.lights.table
        size = len(ground.grid)
        black = np.abs(table[:, 0]) <= BLACK * table[:, size // 2]
        first, last = (table[:, end, None, None] for end in (0, -1))
        left = np.where(ground.floored | black, 0.0, -1.0)[:, None, None]
        place = interp_rows(light, table, np.arange(float(size)))
        place = np.where(light > last, size - 1.0 if ground.capped else float(size), place)
        return np.where(light < first, left, place)

    def _predicted(self, matrix: Array, mixing: Array) -> tuple[Array, Array, Array]:
        """Misses; the values before Q; and what they gain with light, each (s, n, 3)."""
        light = self.lights.nodes @ matrix.transpose(0, 2, 1)
        if self.compression is not None:
            light = self.compression.apply(light)
        return self.of_light(light, mixing)

    def of_light(self, light: Array, mixing: Array) -> tuple[Array, Array, Array]:
        """As `_predicted`, of light at the curve, (s, n, 3)."""
        table, place = self.lights.table, self._places(light)
        size = len(self.ground.grid)
        known = (place >= 0) & (place <= size - 1)
        seen = known[..., :1] & known[..., 1:2] & known[..., 2:]
        cell = np.clip(place, 0, size - 2).astype(np.int64)
        at = cell + size * np.arange(len(light))[:, None, None]
        rise = table.take(at + 1) - table.take(at)
        before, climb = self._neutral(mixing, cell)
        before += (place - cell) * climb
        misses = (self.space.outputs - before @ mixing.transpose(0, 2, 1)) * self.space.codes
        moves = (place > 0) & (place < size - 1) & (rise > 0)
        gain = np.where(moves, climb / np.where(rise > 0, rise, 1.0), 0.0)
        return np.where(seen, misses, np.nan), before, gain

    def _through(self, matrix: Array, mixing: Array, gain: Array) -> Array:
        """What each value gains with each channel of light before a compression, (s, n, 3, 3)."""
        after = mixing[:, None] * gain[..., None, :]
        if self.compression is None:
            return after
        light = self.lights.nodes @ matrix.transpose(0, 2, 1)
        packed = self.compression.apply(light)
        step = STEP * largest(np.abs(light))[..., None] + TINY
        moved = [self.compression.apply(light + step * each) - packed for each in np.eye(3)]
        return np.asarray(after @ (np.stack(moved, axis=3) / step[..., None]))

    def _neutral(self, mixing: Array, cell: NDArray[np.int64]) -> tuple[Array, Array]:
        """The neutral axis before Q at the places of cells, and its climb over each."""
        neutral, climb = self.space.neutral, np.diff(self.space.neutral, axis=0)
        low, more = np.empty((2, *cell.shape))
        if (mixing == mixing[0]).all():
            # First fits assume one Q for all sources.
            back = np.linalg.inv(mixing[0]).T
            for values, out in ((neutral @ back, low), (climb @ back, more)):
                for c in range(3):
                    out[..., c] = values[:, c].take(cell[..., c])
            return low, more
        back = np.linalg.inv(mixing)[..., None]
        for values, out in ((neutral, low), (climb, more)):
            for c in range(3):
                out[..., c] = (values.take(cell[..., c], axis=0) @ back[:, c])[..., 0]
        return low, more

    def _step(
        self,
        matrix: Array,
        mixing: Array,
        predicted: tuple[Array, Array, Array],
        mixed: bool,
        hold: float,
    ) -> tuple[Array, Array]:
        """M and Q after a Gauss-Newton step from what they predict, outliers weighed down."""
        misses, before, gain = predicted
        s, n, _ = misses.shape
        seen = ~np.isnan(misses[..., 0])
        misses = np.nan_to_num(misses)
        scale = 2 * typical(np.where(seen[..., None], misses, np.nan))[:, None] + 0.02
        weight = np.where(seen, 1 / np.hypot(1, largest(np.abs(misses)) / scale), 0.0)
        k = 12 if mixed else 6
        slopes = by_entries(self._through(matrix, mixing, gain), self.lights.nodes, k)
        for entry, (c, other) in enumerate(ENTRIES if mixed else ()):
            np.subtract(before[..., other], before[..., c], out=slopes[:, :, c, 6 + entry])
        slopes *= (self.space.codes * weight[..., None])[..., None]
        flat = slopes.reshape(s, 3 * n, k)
        right = (misses * weight[..., None]).reshape(s, 3 * n, 1)
        turned = flat.transpose(0, 2, 1)
        normal = turned @ flat
        trace = np.trace(normal, axis1=1, axis2=2) / k
        normal += (hold * trace + 1e-12)[:, None, None] * np.eye(k)
        step = np.clip(np.linalg.solve(normal, turned @ right)[..., 0], -MOST_STEP, MOST_STEP)
        return moved(matrix, step[:, :6]), moved(mixing, step[:, 6:]) if mixed else mixing


def by_entries(through: Array, nodes: Array, count: int = 6) -> Array:
    """What each value gains with the free numbers of M, (s, n, 3, count), zeros after those six.

    `through` is what it gains with each channel of light, (s, n, 3, 3).
    """
    slopes = np.zeros((*through.shape[:3], count))
    for entry, (c, other) in enumerate(ENTRIES):
        # Long strides are far quicker than a product along an axis of two.
        apart = (nodes[..., other] - nodes[..., c])[..., None]
        np.multiply(through[..., c], apart, out=slopes[..., entry])
    return slopes


def largest(values: Array) -> Array:
    """The largest channel of each, (...); the maximum along a short axis takes far longer."""
    return reduce(np.maximum, np.moveaxis(values, -1, 0))


def evenly(misses: Array) -> Array:
    """The geometric mean of the errors in codes, (s,), which outliers hardly affect."""
    size = np.where(np.isnan(misses), CODES, np.abs(misses))
    return np.asarray(np.exp(np.mean(np.log(largest(size) + KNOWN_TO), axis=1)))


def typical(misses: Array, share: float = SHARE) -> Array:
    """The quantile `share` of the errors of predicted nodes, in codes, (s,)."""
    size = largest(np.where(np.isnan(misses), np.inf, np.abs(misses)))
    seen = np.isfinite(size).sum(axis=1)
    order = np.sort(size, axis=1)
    at = np.maximum((share * (seen - 1)).astype(np.int64), 0)
    return np.where(seen >= LEAST_SEEN * size.shape[1], order[np.arange(len(order)), at], CODES)


def free_of(matrix: Array) -> Array:
    """The two free numbers of each row, (..., 6), of matrices (..., 3, 3)."""
    return np.concatenate([matrix[..., c, OTHERS[c]] for c in range(3)], axis=-1)


def moved(matrix: Array, step: Array) -> Array:
    """Matrices (..., 3, 3) with their free numbers moved by (..., 6); rows still sum to one."""
    made = np.array(matrix, dtype=np.float64)
    for c in range(3):
        made[..., c, OTHERS[c]] += step[..., 2 * c : 2 * c + 2]
        made[..., c, c] = 1 - made[..., c, OTHERS[c]].sum(axis=-1)
    return made


def rows_to_one(matrix: Array) -> Array:
    """Matrices (..., 3, 3) with rows scaled to a sum of one."""
    sums = matrix.sum(axis=-1, keepdims=True)
    return np.asarray(matrix / np.where(np.abs(sums) < 1e-6, 1.0, sums))


def gains_of(plain: Array, matrix: Array, normal: Array, right: Array) -> Array:
    """Gains of red and blue, as natural logarithms, that bring each pair nearest to a matrix."""
    gains = np.zeros((len(plain), 2))
    for _ in range(GAIN_STEPS):
        here = gained(plain, gains)
        changes = [free_of(here * (np.eye(3)[c] - here[:, :, c : c + 1])) for c in (0, 2)]
        change = np.stack(changes, axis=2)
        turned = change.transpose(0, 2, 1)
        system = turned @ normal @ change + 1e-9 * np.trace(normal) * np.eye(2)
        off = right - (free_of(here) - free_of(matrix)) @ normal
        step = np.linalg.solve(system, (turned @ off[..., None]))[..., 0]
        gains = gains + np.clip(step, -MOST_GAIN, MOST_GAIN)
    return gains


def gained(plain: Array, gains: Array) -> Array:
    """Matrices after gains of red and blue (as natural logarithms), rows scaled back to one."""
    every = np.exp(np.stack([gains[:, 0], np.zeros(len(gains)), gains[:, 1]], axis=1))
    return rows_to_one(plain * every[:, None, :])
