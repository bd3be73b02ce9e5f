"""Measuring what has no name: a free curve fitted finely, and primaries behind a free matrix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.forms.bends import Bending, Bent, bent
from lutbench.identification.forms.free import rows_to_one
from lutbench.identification.forms.nodes import Ground, Source
from lutbench.identification.forms.search import UNMOVED
from lutbench.identification.forms.yardstick import UNPAIRED, Yardstick, form_of
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.measured import CURVE, Measured, MeasuredCurve
from lutbench.identification.primaries import primaries_behind
from lutbench.identification.result import TOLD
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.transforms import Array

LEAVES, NOISE_LEAVES = 0.5, 1.5
"""Codes, and times the noise, that a free form may leave and be called a measurement."""

EARNED = 20.0
"""Nats by which a free curve must do better than the nearest name to be told instead of it."""

PAIRED = 30.0
"""Nats that a free curve may lose beside a named pair of gamuts: its matrix frees six numbers."""

FEWEST = 6
"""Neutral nodes that tell a display."""

ROWS, FINER, STEPS = 600, (9, 14, 20, 32), 6
"""Nodes that a curve is measured on, its bends from coarse to fine, and steps for each."""

POINTS = 129
"""Rows of a measured curve."""

DARK = 1e-9
"""Light that rises by less than this share of itself does not rise."""


@dataclass(frozen=True)
class _Seen:
    """A free curve along a grid of full-scale signals; whether its black is told."""

    grid: Array
    light: Array
    based: bool


def measured_of(
    h: Hypothesis,
    yard: Yardstick,
    probabilities: dict[str, float],
    grounds: tuple[Samples, Ground],
    knowledge: Knowledge,
) -> Measured | None:
    """What the LUT shows of the parts whose names were not earned; None where that is nothing."""
    samples, ground = grounds
    most = LEAVES + NOISE_LEAVES * samples.noise
    curve, matrix, fits = None, yard.matrix, yard.errors[1] <= most
    loose = None
    if probabilities.get("source curve", 1.0) < TOLD:
        loose = _freed(h, yard, ground, most)
    if loose is not None:
        seen = _based(loose, samples, knowledge.targets, most)
        curve, matrix, fits = _curve(seen, knowledge.sources), loose.matrix, True
    gamut, against, supposed = None, "", False
    if fits and not _paired(h, yard, probabilities, matrix):
        gamut, against, supposed = primaries_behind(matrix, h.pair, knowledge.bank)
    if curve is None and gamut is None:
        return None
    return Measured(curve, gamut, against, supposed)


def _paired(h: Hypothesis, yard: Yardstick, probabilities: dict[str, float], matrix: Array) -> bool:
    """Whether a named pair of gamuts does, or no matrix is there to name."""
    if np.abs(matrix - np.eye(3)).max() < UNMOVED:
        return True
    if h.pair.alike:
        return yard.named - yard.free_matrix <= UNPAIRED
    return probabilities.get("source gamut", 1.0) >= TOLD


def _freed(h: Hypothesis, yard: Yardstick, ground: Ground, most: float) -> Bent | None:
    """The free curve that is a measurement, finely bent: beside a named pair where one does."""
    form = form_of(h)
    held = yard.held
    paired = held is not None and held.nats - yard.free_curve <= PAIRED and held.error <= most
    least = min(yard.named, yard.free_matrix)
    if not paired and (yard.errors[2] > most or least - yard.free_curve <= EARNED):
        return None
    matrix = rows_to_one(held.pair.matrix) if paired and held else yard.loose.matrix
    model = form.model(ground.thinned(ROWS), [Source(h.source, h.rendering)])
    found = Bent(model, matrix, yard.loose.mixing)
    for bends in FINER:
        found = bent(found, Bending(bends, STEPS, form.mixed, held=paired, look=form.look))
    return found


def _based(loose: Bent, samples: Samples, targets: Sequence[End], most: float) -> _Seen:
    """Light with the black of a display that it is plainly shown on, where there is one.

    Any black and gain of light leave the LUT as it is under a tone curve of its own. Where
    the neutral axis is a display's curve, display light is light in but for both.
    """
    grid, light = loose.model.ground.grid, loose.light
    inputs, outputs = samples.neutral_in, samples.neutral.mean(axis=1)
    clear = samples.inside(samples.neutral).all(axis=1)
    clear &= (inputs > grid[0]) & (inputs < grid[-1])
    x = np.interp(inputs[clear], grid, light)
    least, best = most, _Seen(grid, light, False)
    for end in targets:
        if not end.curve.curve.shown or clear.sum() < FEWEST:
            continue
        y = np.asarray(end.decode(outputs[clear]))
        with np.errstate(all="ignore"):  # of equal lights; not taken below
            rise = np.gradient(outputs[clear], y) * CODES
        fine = np.isfinite(y) & np.isfinite(rise)
        if fine.sum() < FEWEST:
            continue
        a = np.stack([x[fine], np.ones(fine.sum())], axis=1) * rise[fine, None]
        solved = np.linalg.lstsq(a, y[fine] * rise[fine], rcond=None)[0]
        left = float(np.sqrt(np.mean((a @ solved - y[fine] * rise[fine]) ** 2)))
        if left < least and solved[0] > 0:
            least, best = left, _Seen(grid, light + solved[1] / solved[0], True)
    return best


def _curve(seen: _Seen, sources: Sequence[End]) -> MeasuredCurve | None:
    """The curve in the scale of the name that comes nearest."""
    rows = np.linspace(0, len(seen.grid) - 1, POINTS).round().astype(np.int64)
    signal, light = seen.grid[rows], seen.light[rows]
    found = [_beside(end, signal, light, seen.based) for end in sources]
    off, scaled = min(found, key=lambda each: each[0])
    nearest = sources[[each[0] for each in found].index(off)]
    keep = np.concatenate([[True], np.diff(scaled) > DARK * np.abs(scaled[1:]) + 1e-12])
    try:
        curve = Tabulated(CURVE, tuple(scaled[keep].tolist()), tuple(signal[keep].tolist()))
    except LutbenchError:
        return None
    return MeasuredCurve(curve, nearest.curve.name, off, nearest.range)


def _beside(end: End, signal: Array, light: Array, based: bool) -> tuple[float, Array]:
    """By how many codes an end misses a curve (95 %), and the light in the scale of the end.

    Up to a gain, and up to an added light where black is not told.
    """
    wanted = np.asarray(LightTables.of([end]).light(signal)[0])
    codes = CODES / np.maximum(np.gradient(wanted, signal), 1e-9)
    parts = light[:, None] if based else np.stack([light, np.ones_like(light)], axis=1)
    factors = np.linalg.lstsq(parts * codes[:, None], wanted * codes, rcond=None)[0]
    scaled = np.asarray(parts @ factors)
    if factors[0] <= 0 or not np.isfinite(scaled).all():
        return float("inf"), light
    return float(np.percentile(np.abs(scaled - wanted) * codes, 95)), scaled
