"""The nodes that a fit without a known target looks at, and a first fit of each source.

Light out of channel c, told through the neutral axis, is f(N⁻¹(v)) with f the
decoding of the source, N the neutral axis and v = Q·out; a matrix takes it
from light in, so that with a candidate f all is linear but Q.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lutbench.analysis.identify.curvebank import End
from lutbench.analysis.identify.samples import CODES, Samples
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array

ROWS = 700
FEWEST = 40
SCREENED = 300
NEAR, NEAREST = 0.25, 150
"""Nodes whose channels spread over no more of the neutral axis are near it; so many at least.

Nearer ones tell Q and M less well apart: for the smallest steps only their product shows.
"""

UNTINTED = 0.65
"""Codes, root mean square: channels of the neutral axis nearer than this are taken as one curve."""

SATURATIONS = (1.0, 0.8, 1.25, 0.65, 1.5)
"""What Q is first taken to undo."""

HOLD = (400.0, 40.0)
"""What holds Q to what it was, step by step.

Left free from the start, a row of Q may pick out another channel, which fits as
well and means nothing.
"""

COLLAPSED = 0.35
"""A Q with less than this on its diagonal has gone that way."""

NOISE = 2 / CODES
"""How far noise may make a rising curve fall from node to node."""

LEAST_CLIMB = 0.05

# A plateau: so many nodes on one value, exactly or within the noise.
FLAT, FLAT_NODES = 1e-5, 4

# The two other channels of each channel.
OTHERS = np.array([[1, 2], [0, 2], [0, 1]])


@dataclass(frozen=True)
class Ground:
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

    def thinned(self, rows: int) -> Ground:
        """Every so many of the nodes, at most `rows`."""
        each = max(1, -(-len(self.outputs) // rows))
        return self.only(np.arange(0, len(self.outputs), each))

    def only(self, rows: NDArray[np.int64]) -> Ground:
        """Some of the nodes."""
        return replace(self, axis_places=self.axis_places[rows], outputs=self.outputs[rows])

    def near(self, reach: float = NEAR, count: int = SCREENED) -> Ground:
        """Nodes near the neutral axis: what is clipped or compressed lies farther out."""
        through, _ = self.through_of(np.eye(3))
        spread = np.ptp(through, axis=1)
        limit = max(reach, float(np.sort(spread)[min(NEAREST, len(spread) - 1)]))
        chosen = np.flatnonzero(spread <= limit)
        chosen = chosen[:: max(1, len(chosen) // count)]
        return self.only(chosen)


def ground_of(samples: Samples) -> Ground | None:
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
    return Ground(
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
    """At most so many of the nodes: those nearest the neutral axis, and others at random."""
    if len(places) <= ROWS:
        return places
    rising = np.maximum.accumulate(neutral.mean(axis=1))
    through = np.interp(outputs, rising, np.arange(len(neutral)))
    order = np.argsort(np.ptp(through, axis=1))
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
    from scipy.interpolate import PchipInterpolator

    dense = np.linspace(inputs[0], inputs[-1], 1024)
    values = np.maximum.accumulate(PchipInterpolator(inputs, outputs)(dense))
    return dense, values, np.maximum(np.gradient(values, dense), 1e-6)


@dataclass(frozen=True)
class Start:
    """A first M and Q, and the error in codes that three quarters of the nodes stay under."""

    matrix: Array
    mixing: Array
    error: float


@dataclass(frozen=True)
class _Guess:
    """A guess of Q with what follows from it for every source: nodes seen through it."""

    mixing: Array
    through: Array
    slope: Array
    safe: NDArray[np.bool_]


def screen(ground: Ground, samples: Samples, sources: list[End]) -> list[Start | None]:
    """A first fit of each source: Q from a few saturations, then free; G from the neutral axis."""
    near = ground.near()
    guesses = [_guess(near, amount) for amount in SATURATIONS]
    return [_start(near, samples, source, guesses) for source in sources]


def screen_plainly(ground: Ground, samples: Samples, sources: list[End]) -> list[Start | None]:
    """A first fit of each source with no mixing of the signal's channels."""
    few = ground.thinned(SCREENED)
    guess = [_guess(few, 1.0)]
    return [_start(few, samples, source, guess, free=False) for source in sources]


def _guess(ground: Ground, amount: float) -> _Guess:
    mixing = np.eye(3) / amount + (1 - 1 / amount) * np.outer(np.ones(3), CDL_WEIGHTS)
    through, slope = ground.through_of(mixing)
    edge = 0.03 * (ground.high - ground.low)
    inside = (through > ground.low + edge) & (through < ground.high - edge)
    return _Guess(mixing, through, slope, np.asarray(inside.all(axis=1)))


def _start(
    ground: Ground, samples: Samples, source: End, guesses: list[_Guess], free: bool = True
) -> Start | None:
    """M and Q by linear least squares on light through the inverse neutral axis."""
    light_in = source.decode(samples.axis)[ground.axis_places]
    seen: NDArray[np.bool_] = np.all(np.isfinite(light_in) & (light_in > -1), axis=1)
    best: Start | None = None
    for guess in guesses:
        told = _told(source, guess.through, guess.slope, seen & guess.safe)
        if told is None:
            continue
        fits, light, weight = told
        w = weight.T[:, :, None]
        solution, miss = _robust(w * light_in[fits], w[:, :, 0] * light.T, np.zeros(3), 0.0)
        error = _error(miss)
        if best is None or error < best.error:
            best = Start(_to_one(solution), guess.mixing, error)
    if best is None or not free:
        return best
    for hold in HOLD:
        moved = _freed(ground, source, light_in, seen, best, hold)
        if moved is None or moved.error > 2 * best.error + 1:
            break
        best = moved
    return best


def _freed(
    ground: Ground, source: End, light_in: Array, seen: NDArray[np.bool_], last: Start, hold: float
) -> Start | None:
    """M and Q anew, Q free but for what holds it to the last."""
    through, slope = ground.through_of(last.mixing)
    # Nodes whose clean light lies beyond the clear run were clipped before the mixing.
    z = light_in @ last.matrix.T
    low, high = source.decode(np.array([ground.low, ground.high]))
    told = _told(source, through, slope, seen & (z > low).all(axis=1) & (z < high).all(axis=1))
    if told is None:
        return None
    fits, light, weight = told
    y, w = ground.outputs[fits], weight.T[:, :, None]
    others = np.stack([y[:, each] - y[:, [c]] for c, each in enumerate(OTHERS)])
    a = np.concatenate([w * light_in[fits], -CODES * others], axis=2)
    q = np.array([last.mixing[c, each] for c, each in enumerate(OTHERS)])
    b = w[:, :, 0] * light.T + (a[:, :, 3:] @ q[:, :, None])[:, :, 0]
    aim = np.hstack([np.zeros((3, 3)), q])
    solution, miss = _robust(a, b, aim, hold)
    mixing = mixing_of(solution[:, 3:])
    if np.diag(mixing).min() < COLLAPSED:
        return None
    return Start(_to_one(solution), mixing, _error(miss))


def _told(
    source: End, through: Array, slope: Array, seen: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], Array, Array] | None:
    """Nodes that can be used, their light told through the neutral axis, codes per light."""
    light = source.decode(through)
    rise = (source.decode(through + 1e-4) - source.decode(through - 1e-4)) / 2e-4
    with np.errstate(all="ignore"):
        weight = slope / rise * CODES
    fits = np.flatnonzero(
        seen & np.isfinite(weight).all(axis=1) & (rise > 0).all(1) & (light > 0).all(1)
    )
    return (fits, light[fits], weight[fits]) if len(fits) >= FEWEST else None


def _error(miss: Array) -> float:
    return float(np.sqrt(np.mean(np.percentile(np.abs(miss), 75, axis=1) ** 2)))


def _to_one(solution: Array) -> Array:
    """The matrix with rows that sum to one."""
    return np.asarray(solution[:, :3] / solution[:, :3].sum(axis=1, keepdims=True))


def mixing_of(others: Array) -> Array:
    """Q of its two free values a row: rows sum to one, so that neutrals stay."""
    mixing: Array = np.zeros((3, 3))
    for c, each in enumerate(OTHERS):
        mixing[c, each] = others[c]
    return mixing + np.diag(1 - others.sum(axis=1))


def _robust(a: Array, b: Array, aim: Array, hold: float) -> tuple[Array, Array]:
    """Least squares in each channel, a (3, n, k) and b (3, n), far rows weighed down.

    Columns from the fourth on are of mixing, which `hold` pulls to `aim`, (3, k).
    """
    size = a.shape[2]
    costs = np.where(np.arange(size) < 3, 1e-9, hold)
    weight: Array = np.ones(b.shape)
    solution: Array = np.zeros((3, size))
    miss = b
    for _ in range(3):
        weighed = (a * weight[:, :, None]).transpose(0, 2, 1)
        right = weighed @ b[:, :, None] + (costs * aim).reshape(-1, size, 1)
        solution = np.linalg.solve(weighed @ a + np.diag(costs), right)[:, :, 0]
        miss = b - (a @ solution[:, :, None])[:, :, 0]
        scale = 1.4826 * np.median(np.abs(miss), axis=1, keepdims=True) + 1e-3
        weight = np.clip(1 - (miss / (6 * scale)) ** 2, 0, None) ** 2
    return solution, miss
