"""The nodes that a fit without a known target looks at, and a first fit of each source.

Light out of channel c, read through the neutral axis, is f(N⁻¹(v)) with f the decoding of
the source, N the neutral axis and v = Q·out. It is a matrix times light in, so for a given
f all is linear except Q.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.linear import solve_ridged
from lutbench.fitting.robust import NORMAL_SPREAD, bisquare
from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.ordering import best_first
from lutbench.identification.samples import CODES, Samples
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.pchip import Pchip
from lutbench.model.transforms import Array

ROWS = 700
FEWEST = 25
SCREENED, LOOKED_AT, GLANCED_AT = 300, 300, 120
"""Nodes of a part, nodes that a first fit looks at, and how many of them for each saturation."""

FREED = 30
"""Sources that stay for the second, freer fit of Q: the best of the first one."""

NEAR, NEAREST = 0.25, 150
"""Spread of a node's channels along the neutral axis up to which it is near; the fewest nodes.

With nearer nodes Q and M are hard to separate: for small colours only their product shows.
"""

UNTINTED = 0.65
"""Codes, root mean square: channels of the neutral axis nearer than this are taken as one curve."""

SATURATIONS, GLANCED = (1.0, 0.8, 1.25, 0.65, 1.5), 3
"""Saturations that Q is first assumed to undo, and how many of them in a quick first fit."""

HOLD = (400.0, 40.0)
"""The weights that hold Q near its last value, step by step.

If Q were free from the start, a row of it might select another channel, which fits equally
well but is meaningless.
"""

COLLAPSED = 0.35
"""The diagonal entry of Q below which that has happened."""

NOISE = 2 / CODES
"""Full-scale value by which noise may make a rising curve fall between two nodes."""

LEAST_CLIMB = 0.05
"""The least full-scale rise of the neutral axis on which a fit is useful."""

# A plateau: a number of nodes with the same value, exactly or within the noise.
FLAT, FLAT_NODES = 1e-5, 4

# The two other channels of each channel.
OTHERS = np.array([[1, 2], [0, 2], [0, 1]])


@dataclass(frozen=True)
class CurveGround:
    """What the fits of all sources share.

    `axis_places`, shape (n, 3), are places on the axis of the chosen nodes and
    `outputs`, shape (n, 3), their full-scale outputs. `inverse` holds for each
    channel the dense neutral axis: input, output, slope; `neutral_in` and
    `neutral` are its nodes.
    """

    axis_places: NDArray[np.int64]
    outputs: Array
    inverse: tuple[tuple[Array, Array, Array], ...]
    neutral_in: Array
    neutral: Array
    low: float
    high: float
    tinted: bool

    def through_of(self, mixing: Array) -> tuple[Array, Array]:
        """The neutral inputs that give Q·out of each node, and the slope of the axis there."""
        # On the neutral axis Q·N is what a mixed output is compared with.
        neutral = np.stack([output for _, output, _ in self.inverse], axis=1) @ mixing.T
        slopes = np.stack([slope for _, _, slope in self.inverse], axis=1) @ mixing.T
        wanted = self.outputs @ mixing.T
        inputs = self.inverse[0][0]
        through, slope = np.empty_like(wanted), np.empty_like(wanted)
        for c in range(3):
            rising = np.maximum.accumulate(neutral[:, c])
            through[:, c] = np.interp(wanted[:, c], rising, inputs)
            slope[:, c] = np.interp(through[:, c], inputs, np.maximum(slopes[:, c], 1e-6))
        return through, slope

    def thinned(self, rows: int) -> CurveGround:
        """Nodes at regular intervals, at most `rows`."""
        each = max(1, -(-len(self.outputs) // rows))
        return self.only(np.arange(0, len(self.outputs), each))

    def only(self, rows: NDArray[np.int64]) -> CurveGround:
        """Some of the nodes."""
        return replace(self, axis_places=self.axis_places[rows], outputs=self.outputs[rows])

    def near(self, reach: float = NEAR, count: int = SCREENED) -> CurveGround:
        """Nodes near the neutral axis: what is clipped or compressed lies farther out."""
        through, _ = self.through_of(np.eye(3))
        spread = np.ptp(through, axis=1)
        limit = max(reach, float(np.sort(spread)[min(NEAREST, len(spread) - 1)]))
        chosen = np.flatnonzero(spread <= limit)
        chosen = chosen[:: max(1, len(chosen) // count)]
        return self.only(chosen)


def ground_of(samples: Samples) -> CurveGround | None:
    """The nodes to fit, or None where the neutral axis does not rise or too few are clear."""
    run = rising_run(samples)
    if run is None:
        return None
    inputs, neutral = samples.neutral_in[run], samples.neutral[run]
    low, high = neutral.min(axis=0), neutral.max(axis=0)
    flat = samples.table.reshape(-1, 3)
    fits = np.flatnonzero(((flat > low) & (flat < high)).all(axis=1))
    if len(fits) < FEWEST:
        return None
    fits = _chosen(flat[fits], fits, neutral)
    size = len(samples.axis)
    apart = neutral - neutral.mean(axis=1, keepdims=True)
    spread = np.sqrt(np.mean(apart**2)) * CODES
    return CurveGround(
        np.array(np.unravel_index(fits, (size, size, size))).T,
        flat[fits],
        tuple(_dense(inputs, neutral[:, c]) for c in range(3)),
        inputs,
        neutral,
        float(inputs[0]),
        float(inputs[-1]),
        bool(spread > UNTINTED),
    )


def _chosen(outputs: Array, places: NDArray[np.int64], neutral: Array) -> NDArray[np.int64]:
    """At most `ROWS` of the nodes: those nearest the neutral axis, and others at random."""
    if len(places) <= ROWS:
        return places
    rising = np.maximum.accumulate(neutral.mean(axis=1))
    through = np.interp(outputs, rising, np.arange(len(neutral)))
    order = best_first(np.ptp(through, axis=1))
    near, far = order[:SCREENED], order[SCREENED:]
    far = np.random.default_rng(1).choice(far, ROWS - SCREENED, replace=False)
    return np.asarray(places[np.concatenate([near, far])])


def rising_run(samples: Samples) -> slice | None:
    """The longest run of the neutral axis that is clear of clipping and rises."""
    clear: NDArray[np.bool_] = np.all(samples.inside(samples.neutral), axis=1)
    rises: NDArray[np.bool_] = np.all(np.diff(samples.neutral, axis=0) > -NOISE, axis=1)
    best, start = slice(0, 0), 0
    for i in range(len(clear) + 1):
        goes_on = i < len(clear) and clear[i] and (i == start or rises[i - 1])
        if not goes_on:
            if i - start > best.stop - best.start:
                best = slice(start, i)
            start = i if i < len(clear) and clear[i] else i + 1
    best = _without_flat_ends(samples.neutral, best)
    if best.stop - best.start < 4:
        return None
    climb = samples.neutral[best][-1] - samples.neutral[best][0]
    return best if (climb > LEAST_CLIMB).all() else None


def _without_flat_ends(neutral: Array, run: slice) -> slice:
    """The run without plateaus at its ends, where something was clipped before a look."""
    start, stop = run.start, run.stop
    if stop - start < 4:
        return run
    values = neutral[run]
    for flat, least in ((FLAT, 2), (NOISE, FLAT_NODES)):
        # Any channel that stays on its end value for some nodes has been clipped there.
        top = int((values > values[-1] - flat).sum(axis=0).max())
        bottom = int((values < values[0] + flat).sum(axis=0).max())
        stop = min(stop, run.stop - top) if top >= least else stop
        start = max(start, run.start + bottom) if bottom >= least else start
    return slice(start, max(stop, start))


def _dense(inputs: Array, outputs: Array) -> tuple[Array, Array, Array]:
    """A channel of the neutral axis between its nodes: input, output, slope."""
    dense = np.linspace(inputs[0], inputs[-1], 1024)
    values = np.maximum.accumulate(Pchip(inputs, outputs)(dense))
    return dense, values, np.maximum(np.gradient(values, dense), 1e-6)


@dataclass(frozen=True)
class Start:
    """A first M and Q, and the 75th percentile of the error in codes."""

    matrix: Array
    mixing: Array
    error: float


def screen(ground: CurveGround, samples: Samples, sources: list[End]) -> list[Start | None]:
    """A first fit of each source: Q from a few saturations, then free; G from the neutral axis."""
    return _Screen(ground.near(count=LOOKED_AT), samples, sources).starts(SATURATIONS, HOLD)


def glance(ground: CurveGround, samples: Samples, sources: list[End]) -> list[Start | None]:
    """A quick first fit of each source: Q from three of the saturations only."""
    some = ground.near(count=GLANCED_AT)
    return _Screen(some, samples, sources).starts(SATURATIONS[:GLANCED], ())


def screen_plainly(ground: CurveGround, samples: Samples, sources: list[End]) -> list[Start | None]:
    """A first fit of each source with no mixing of the signal's channels."""
    return _Screen(ground.thinned(LOOKED_AT), samples, sources).starts((1.0,), ())


class _Screen:
    """First fits of M and Q by linear least squares on light through the inverse neutral axis.

    All sources are fitted at once: arrays are (sources, channels, nodes), nodes last
    because there are most of them.
    """

    def __init__(self, ground: CurveGround, samples: Samples, sources: list[End]) -> None:
        self.ground = ground
        self.tables = LightTables.of(sources)
        light = self.tables.light(samples.axis)[:, ground.axis_places.T]
        self.seen = np.all(np.isfinite(light) & (light > -1), axis=1)
        self.light_in = np.where(self.seen[:, None], light, 0.0)
        self.count = len(sources)

    def starts(self, amounts: tuple[float, ...], holds: tuple[float, ...]) -> list[Start | None]:
        """The best of the saturations for each source, then with Q free within the given holds."""
        matrix = np.broadcast_to(np.eye(3), (self.count, 3, 3)).copy()
        mixing = matrix.copy()
        error = np.full(self.count, np.inf)
        edge = 0.03 * (self.ground.high - self.ground.low)
        each = slice(None, None, -(-len(self.ground.outputs) // GLANCED_AT) if holds else 1)
        light_in, seen = np.ascontiguousarray(self.light_in[..., each]), self.seen[:, each]
        some = self.ground.only(np.arange(len(self.ground.outputs))[each])
        for amount in amounts:
            guess = np.eye(3) / amount + (1 - 1 / amount) * np.outer(np.ones(3), CDL_WEIGHTS)
            through, slope = (each.T for each in some.through_of(guess))
            safe = (through > self.ground.low + edge) & (through < self.ground.high - edge)
            light, weight = self._light_through(
                self.tables.shared(through), slope, seen & safe.all(axis=0), self.tables
            )
            a = weight[:, :, None] * light_in[:, None]
            aim = np.zeros((self.count, 3, 3))
            solution, off = _robust(a, weight * light, aim, 0.0, weight[:, 0] > 0)
            better = off < error
            matrix[better], error[better] = _to_one(solution[better]), off[better]
            mixing[better] = guess
        best = np.flatnonzero(np.isfinite(error))
        for hold in holds:
            if not len(best):
                break
            solution, mixed, off = self._freed(best, matrix[best], mixing[best], hold)
            fine = (mixed[:, [0, 1, 2], [0, 1, 2]] >= COLLAPSED).all(axis=1)
            fine &= off <= 2 * error[best] + 1
            best = best[fine]
            matrix[best], mixing[best], error[best] = solution[fine], mixed[fine], off[fine]
            best = best[best_first(error[best])[:FREED]]
        return [
            Start(matrix[i], mixing[i], float(error[i])) if np.isfinite(error[i]) else None
            for i in range(self.count)
        ]

    def _light_through(
        self,
        through: Array,
        slope: Array,
        seen: NDArray[np.bool_],
        tables: LightTables,
    ) -> tuple[Array, Array]:
        """Light read through the neutral axis, and codes per light; 0 where not to be used."""
        light, rise = tables.of_own(through)
        with np.errstate(all="ignore"):
            weight = slope / rise * CODES
        fits = seen & (np.isfinite(weight) & (rise > 0) & (light > 0)).all(axis=1)
        fewest = FEWEST * fits.shape[1] / len(self.ground.outputs)
        fits &= fits.sum(axis=1, keepdims=True) >= fewest
        return light, np.where(fits[:, None], weight, 0.0)

    def _freed(
        self, chosen: NDArray[np.int64], matrix: Array, mixing: Array, hold: float
    ) -> tuple[Array, Array, Array]:
        """M and Q of chosen sources fitted again, with Q held near its last value."""
        # Many sources share the Q that they begin with.
        kinds, kind = np.unique(mixing, axis=0, return_inverse=True)
        read = [self.ground.through_of(each) for each in kinds]
        through, slope = (np.array([each[k].T for each in read])[kind.ravel()] for k in (0, 1))
        light_in, tables = self.light_in[chosen], self.tables.only(chosen)
        # Nodes whose clean light lies beyond the clear run were clipped before the mixing.
        z = matrix @ light_in
        ends = tables.light(np.array([self.ground.low, self.ground.high]))
        clean = ((z > ends[:, :1, None]) & (z < ends[:, 1:, None])).all(axis=1)
        light, weight = self._light_through(through, slope, self.seen[chosen] & clean, tables)
        y = self.ground.outputs.T
        others = np.stack([y[each] - y[c] for c, each in enumerate(OTHERS)])
        used = weight[:, 0] > 0
        mixed = CODES * others * used[:, None, None]
        a = np.concatenate([weight[:, :, None] * light_in[:, None], -mixed], axis=2)
        q = np.stack([mixing[:, c, each] for c, each in enumerate(OTHERS)], axis=1)
        b = weight * light + (q[:, :, None] @ a[:, :, 3:])[:, :, 0]
        aim = np.concatenate([np.zeros((len(chosen), 3, 3)), q], axis=2)
        solution, error = _robust(a, b, aim, hold, used)
        return _to_one(solution), np.array([mixing_of(each) for each in solution[..., 3:]]), error


def _to_one(solution: Array) -> Array:
    """The matrix with rows that sum to one."""
    rows = solution[..., :3]
    total = rows.sum(axis=-1, keepdims=True)
    return np.asarray(rows / np.where(total == 0, 1.0, total))


def mixing_of(others: Array) -> Array:
    """Q from its two free values per row: rows sum to one, so neutrals stay neutral."""
    mixing: Array = np.zeros((3, 3))
    for c, each in enumerate(OTHERS):
        mixing[c, each] = others[c]
    return mixing + np.diag(1 - others.sum(axis=1))


def _robust(
    a: Array, b: Array, aim: Array, hold: float, used: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Least squares in each channel, outliers weighed down, and the error in codes.

    a is (s, 3, k, n) and b (s, 3, n); the fourth of the k and those after it are the mixing,
    which `hold` pulls towards `aim`, (s, 3, k). Nodes that are not `used`, (s, n), are zero.
    The error is the 75th percentile over the nodes, infinite where there are none.
    """
    size = a.shape[2]
    costs = np.where(np.arange(size) < 3, 1e-9, hold)
    count = used.sum(axis=1)
    left_out = np.broadcast_to(~used[:, None], b.shape)
    turned = a.swapaxes(2, 3)
    weighed = a
    solution: Array = np.zeros((*b.shape[:2], size))
    miss = np.abs(b)
    for step in range(3):
        right = weighed @ b[..., None] + (costs * aim)[..., None]
        solution = solve_ridged(weighed @ turned + np.diag(costs), right)[..., 0]
        miss = np.abs(b - (solution[:, :, None] @ a)[:, :, 0])
        np.copyto(miss, np.inf, where=left_out)
        if step < 2:
            scale = NORMAL_SPREAD * _part(miss, count, 0.5) + 1e-3
            weighed = a * bisquare(miss, 6 * scale)[:, :, None]
    quarter = _part(miss, count, 0.75)[..., 0]
    return solution, np.where(count > 0, np.sqrt(np.mean(quarter**2, axis=1)), np.inf)


def _part(sizes: Array, count: NDArray[np.int64], share: float) -> Array:
    """The quantile `share` of the first `count` of the sorted sizes, (s, 3, 1)."""
    order = np.sort(sizes, axis=2)
    place = np.maximum((share * (count - 1)).astype(np.int64), 0)
    found = np.take_along_axis(
        order, np.broadcast_to(place[:, None, None], (*sizes.shape[:2], 1)), 2
    )
    return np.where(np.isfinite(found), found, 0.0)
