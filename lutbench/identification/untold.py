"""Curves that do not show their source, because an unnamed tone curve may be part of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import DARK
from lutbench.identification.curvebank import End
from lutbench.identification.freecurve import FreeCurve, TargetFit
from lutbench.identification.hypothesis import Hypothesis, ToneTarget, error_of, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.naming import hypothesis_of, most_missed
from lutbench.identification.plausible import uncommonness
from lutbench.identification.rising import rising_run
from lutbench.identification.samples import Samples, range_seen
from lutbench.identification.tonecurves import tone_errors
from lutbench.identification.verdict import SHOWN, Finalist, kind_of
from lutbench.model.curves.base import MID_GREY
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Array
from lutbench.tables.lut import Lut1D

# These three costs were chosen on the seeds that the benchmark of identify names as looked at.
SETTLED = -100.0
"""The cost up to which a curve is explained to its rounding."""

CLEAR = 50.0
"""The additional cost from which a rival is clearly worse."""

WEAK = 110.0
"""The cost from which a curve is explained over a short stretch only."""

TONE_COSTS = 4.0
"""The cost of a tone curve that doubles the contrast at mid grey: such a curve is less usual."""


def is_untold(order: Sequence[Finalist]) -> bool:
    """Whether the first of `order` is a curve that other sources explain about as well.

    Where no matrix mixes light, only the curve can show the source. It does so if a model
    follows it to its rounding, or if no other source comes close.
    """
    best = order[0]
    h = best.hypothesis
    if not h.pair.alike or kind_of(h) != "curve" or best.curve_cost <= SETTLED:
        return False
    if isinstance(h.target, ToneTarget) and h.target.guessed:
        return True
    if any(isinstance(step, Cdl | Lut1D) for step in h.grade):
        return True  # as free as a tone curve
    rivals = (one.cost for one in order[1:] if one.hypothesis.source.number != h.source.number)
    return best.curve_cost > WEAK or min(rivals, default=np.inf) - best.cost < CLEAR


def plainest_first(order: Sequence[Finalist], samples: Samples) -> list[Finalist]:
    """The order, but of those that explain the curve about as well, the one with the smallest
    look leads."""
    best = order[0]
    if not best.hypothesis.grade:
        return list(order)
    near = [
        one
        for one in order
        if one.hypothesis.grade and one.hypothesis.pair.alike and one.cost - best.cost < CLEAR
    ]
    least = min(near, key=lambda one: forecast(one.hypothesis.without_grade(), samples).rms)
    return [least, *(one for one in order if one is not least)]


def other_curves(h: Hypothesis, samples: Samples, known: Knowledge) -> list[Hypothesis]:
    """The hypothesis with each other source, and each other target, that some tone curve allows."""
    run = rising_run(samples)
    targets = [end for end in shown_targets(samples, known) if end != h.target_end]
    if run is None or h.target_end is None:
        return []
    within = _allowed(samples, run, known.sources, [h.target_end, *targets])
    others = [
        replace(h, source=known.sources[i])
        for i in np.flatnonzero(within.any(axis=1))
        if known.sources[i] != h.source
    ]
    within = within[:, 1:]
    return others + [
        replace(h, target=_based_on(h, targets[j])) for j in np.flatnonzero(within.any(axis=0))
    ]


def guessed_curves(samples: Samples, known: Knowledge) -> list[Finalist]:
    """Finalists for a curve that no model follows: each pair of curves with a tone curve between.

    Those that change mid grey and its contrast least come first.
    """
    run = rising_run(samples)
    targets = shown_targets(samples, known)
    if run is None or not targets:
        return []
    within = _allowed(samples, run, known.sources, targets)
    places, outputs = samples.neutral_in[run], samples.neutral[run]
    ordered: list[tuple[float, float, Hypothesis]] = []
    for s, t in np.argwhere(within):
        source, end = known.sources[s], targets[t]
        light, out = source.decode(places), end.decode(outputs.mean(axis=1))
        stops, contrast = _about_grey(light, out)
        cost = TONE_COSTS * abs(float(np.log2(contrast)))
        plain = Hypothesis(source, end, known.bank.pair(0), stops)
        ordered.append((cost + uncommonness(plain), cost, plain))
    ordered.sort(key=lambda each: each[0])
    finalists: list[Finalist] = []
    for _, cost, plain in ordered:
        h = _with_tone(plain, places, outputs, samples, known)
        if h is None:
            continue
        predicted = forecast(h, samples)
        finalists.append(Finalist(h, predicted, error_of(predicted, samples), cost))
        if len(finalists) == SHOWN:
            break
    return finalists


def _with_tone(
    plain: Hypothesis, places: Array, outputs: Array, samples: Samples, known: Knowledge
) -> Hypothesis | None:
    """The hypothesis with the tone curve that the grey scale shows, before its target."""
    assert plain.target_end is not None
    target = known.targets.index(plain.target_end)
    fit = TargetFit(target, "smooth", plain.stops, 0.0, 1.0, None, 0.0)
    curve = FreeCurve(plain.source.decode(places), outputs)
    return hypothesis_of(plain.source, fit, known, curve, (), samples)


def _about_grey(light: Array, out: Array) -> tuple[float, float]:
    """The stops by which a tone curve moves mid grey, and its contrast there."""
    fine = (light > DARK) & (out > DARK)
    x, y = np.log2(light[fine]), np.log2(out[fine])
    grey = np.log2(MID_GREY)
    at, above, below = np.interp([grey, grey + 1, grey - 1], x, y)
    return float(at - grey), float(max((above - below) / 2, 1e-3))


def _based_on(h: Hypothesis, end: End) -> End | ToneTarget:
    return replace(h.target, based_on=end) if isinstance(h.target, ToneTarget) else end


def shown_targets(samples: Samples, known: Knowledge) -> list[End]:
    """The display curves, in the range that the LUT shows."""
    seen = range_seen(samples)
    return [end for end in known.targets if end.curve.curve.shown and seen in (None, end.range)]


def _allowed(
    samples: Samples, run: slice, sources: Sequence[End], targets: Sequence[End]
) -> NDArray[np.bool_]:
    """Between which sources and targets the LUT's greys have a tone curve."""
    signal = samples.neutral[run].mean(axis=1)
    found = tone_errors(samples.neutral_in[run], signal, sources, targets)
    return np.asarray(found <= most_missed(samples.noise))
