"""Measurement of parts without a name: a finely fitted free curve, and the primaries in a
free matrix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.common import EARNED
from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.forms.bends import Bending, Bent, bent
from lutbench.identification.forms.fits import GLANCED, Form, glance
from lutbench.identification.forms.fitted import Fitted
from lutbench.identification.forms.free import rows_to_one
from lutbench.identification.forms.nodes import Ground, Source
from lutbench.identification.forms.score import nats_of
from lutbench.identification.forms.search import COULD, UNMOVED, most_left
from lutbench.identification.forms.yardstick import (
    BENDS,
    EXPLAINED,
    UNPAIRED,
    Yardstick,
    best_pair,
    form_of,
    size_of,
)
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.measured import CURVE, Measured, MeasuredCurve
from lutbench.identification.primaries import primaries_behind
from lutbench.identification.result import LIKELY
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.transforms import Array

LEAVES = 0.5
"""10-bit codes of residual up to which a free form is a measurement, without noise."""

NOISE_LEAVES = 1.5
"""Times the noise that may be added to that residual."""

PAIRED = 30.0
"""Nats that a free curve may lose with a named pair of gamuts, which fixes six free numbers."""

FEWEST = 6
"""The fewest neutral nodes from which the display is determined."""

ROWS = 600
"""Nodes that a curve is measured on, which keeps the time short."""

FINER = (9, 14, 20, 32)
"""Bends of the curve, from coarse to fine: a fine fit needs a good start."""

STEPS = 6
"""Steps of the fit for each number of bends, after which it hardly changes."""

POINTS = 129
"""Rows of a measured curve: enough for straight lines between them."""

DARK = 1e-9
"""The share of light by which it must rise to count as rising."""


@dataclass(frozen=True)
class _Seen:
    """A free curve along a grid of full-scale signals, and the display's curve that it shows."""

    grid: Array
    light: Array
    display: End | None = None
    alone: bool = False
    """Whether no other display's curve does."""


def measured_of(
    h: Hypothesis,
    yard: Yardstick,
    probabilities: dict[str, float],
    grounds: tuple[Samples, Ground],
    knowledge: Knowledge,
) -> Measured | None:
    """Measurements of the parts without a likely name; None where nothing can be measured."""
    samples, ground = grounds
    most = LEAVES + NOISE_LEAVES * samples.noise
    curve, matrix, fits = None, yard.matrix, yard.errors[1] <= most
    display = None
    loose = None
    if probabilities.get("source curve", 1.0) < LIKELY:
        loose = _freed(h, yard, ground, most)
    if loose is not None:
        targets = [end for end in knowledge.targets if end.range == h.target.range]
        seen = _based(loose, samples, targets, most)
        display = seen.display if seen.alone else None
        curve, matrix, fits = _curve(seen, knowledge.sources), loose.matrix, True
    gamut, against, supposed = None, "", False
    if fits and not _paired(h, yard, probabilities, matrix):
        gamut, against, supposed = primaries_behind(matrix, h.pair, knowledge.bank)
    if curve is None and gamut is None:
        return None
    nodes = _told(loose or yard.loose)
    return Measured(curve, gamut, against, supposed, display, nodes)


def _told(loose: Bent) -> tuple[Array, Array]:
    """What a free curve and a free matrix give at the nodes that they predict, and the outputs."""
    off, outputs = loose.misses()[0], loose.model.ground.outputs
    seen = np.isfinite(off).all(axis=1)
    return outputs[seen] - off[seen] / CODES, outputs[seen]


def is_unnamed(fitted: Fitted) -> bool:
    """Whether a plain conversion explains the nodes with a free curve and a free matrix, and with
    no named curve and no named pair of gamuts.
    """
    most = COULD * most_left(fitted.samples)
    if fitted.lit is None or glance(Form(), fitted.lit.thinned(GLANCED)) > most:
        return False
    fit = next(iter(fitted.of(Form())), None)
    if fit is None:
        return False
    model = Form().model(fit.ground.thinned(ROWS), [fit.source])
    named = Bent(model, fit.matrix, fit.mixing)
    free = bent(named, Bending(BENDS, STEPS))
    own, left = (each.misses() for each in (named, free))
    if not size_of(left) <= EXPLAINED * fitted.floor < size_of(own):
        return False
    without, with_name = (
        float(nats_of(each.reshape(1, -1), fitted.floor)[0]) for each in (left, own)
    )
    paired = best_pair(free, model, Form(), fitted).nats
    return with_name - without > EARNED and paired - without > PAIRED


def _paired(h: Hypothesis, yard: Yardstick, probabilities: dict[str, float], matrix: Array) -> bool:
    """Whether a named pair of gamuts is good enough, or there is no matrix to name."""
    if np.abs(matrix - np.eye(3)).max() < UNMOVED:
        return True
    if h.pair.alike:
        return yard.named - yard.free_matrix <= UNPAIRED
    return probabilities.get("source gamut", 1.0) >= LIKELY


def _freed(h: Hypothesis, yard: Yardstick, ground: Ground, most: float) -> Bent | None:
    """The finely bent free curve, if it is a measurement: with a named pair if one fits."""
    form = form_of(h)
    held = yard.held
    paired = held is not None and held.nats - yard.free_curve <= PAIRED and held.error <= most
    least = min(yard.named, yard.free_matrix)
    if not paired and (yard.errors[2] > most or least - yard.free_curve <= EARNED):
        return None
    few, source = ground.thinned(ROWS), [Source(h.source, h.rendering)]
    matrix = rows_to_one(held.pair.matrix) if paired and held else yard.loose.matrix
    found = _finely(Bent(form.model(few, source), matrix, yard.loose.mixing), form, paired)
    if form.mixed and not form.look:
        # Behind a wrong curve a second matrix explains much that a free curve needs none for.
        straight = matrix if paired else rows_to_one(yard.loose.mixing @ matrix)
        plain = _finely(Bent(Form().model(few, source), straight, np.eye(3)), Form(), paired)
        if size_of(plain.misses()) <= size_of(found.misses()):
            return plain
    return found


def _finely(start: Bent, form: Form, paired: bool) -> Bent:
    found = start
    for bends in FINER:
        found = bent(found, Bending(bends, STEPS, form.mixed, held=paired, look=form.look))
    return found


def _based(loose: Bent, samples: Samples, targets: Sequence[End], most: float) -> _Seen:
    """Light with the black level of a display, where the neutral axis fits that display's curve.

    Behind an unnamed tone curve any black and gain of light give the same LUT. Where the
    neutral axis is a display's curve, display light equals input light except for both.
    """
    grid, light = loose.model.ground.grid, loose.light
    inputs, outputs = samples.neutral_in, samples.neutral.mean(axis=1)
    clear = samples.inside(samples.neutral).all(axis=1)
    clear &= (inputs > grid[0]) & (inputs < grid[-1])
    x = np.interp(inputs[clear], grid, light)
    found: list[tuple[float, _Seen]] = []
    for end in targets:
        if not end.curve.curve.shown or clear.sum() < FEWEST:
            continue
        y = np.asarray(end.decode(outputs[clear]))
        with np.errstate(all="ignore"):  # equal lights divide by zero; they are left out below
            rise = np.gradient(outputs[clear], y) * CODES
        fine = np.isfinite(y) & np.isfinite(rise)
        if fine.sum() < FEWEST:
            continue
        a = np.stack([x[fine], np.ones(fine.sum())], axis=1) * rise[fine, None]
        solved = np.linalg.lstsq(a, y[fine] * rise[fine], rcond=None)[0]
        residual = float(np.sqrt(np.mean((a @ solved - y[fine] * rise[fine]) ** 2)))
        if residual < most and solved[0] > 0:
            found.append((residual, _Seen(grid, light + solved[1] / solved[0], end)))
    if not found:
        return _Seen(grid, light)
    best = min(found, key=lambda each: each[0])[1]
    curves = {each.display.number for _, each in found if each.display}
    return replace(best, alone=len(curves) == 1)


def _curve(seen: _Seen, sources: Sequence[End]) -> MeasuredCurve | None:
    """The curve in the scale of light of the nearest name."""
    rows = np.linspace(0, len(seen.grid) - 1, POINTS).round().astype(np.int64)
    signal, light = seen.grid[rows], seen.light[rows]
    found = [_compared(end, signal, light, seen.display is not None) for end in sources]
    off, scaled = min(found, key=lambda each: each[0])
    nearest = sources[[each[0] for each in found].index(off)]
    keep = np.concatenate([[True], np.diff(scaled) > DARK * np.abs(scaled[1:]) + 1e-12])
    try:
        curve = Tabulated(CURVE, tuple(scaled[keep].tolist()), tuple(signal[keep].tolist()))
    except LutbenchError:
        return None
    return MeasuredCurve(curve, nearest.curve.name, off, nearest.range)


def _compared(end: End, signal: Array, light: Array, black_known: bool) -> tuple[float, Array]:
    """The error of an end in codes (95th percentile), and the light in the scale of that end.

    Up to a gain, and up to an added light where black is not known.
    """
    wanted = np.asarray(LightTables.of([end]).light(signal)[0])
    codes = CODES / np.maximum(np.gradient(wanted, signal), 1e-9)
    parts = light[:, None] if black_known else np.stack([light, np.ones_like(light)], axis=1)
    factors = np.linalg.lstsq(parts * codes[:, None], wanted * codes, rcond=None)[0]
    scaled = np.asarray(parts @ factors)
    if factors[0] <= 0 or not np.isfinite(scaled).all():
        return float("inf"), light
    return float(np.percentile(np.abs(scaled - wanted) * codes, 95)), scaled
