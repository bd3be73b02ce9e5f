"""LUTs that leave the gamut alone: no matrix mixes light, so any source would fit.

Only the curve itself then shows source and target.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.freecurve import FreeCurve, TargetFit
from lutbench.identification.graded import Problems, fit_cdl, fit_contrast
from lutbench.identification.hypothesis import Hypothesis, error_of, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.naming import (
    GRADED_LOG,
    MANY_WITHIN,
    MODEL_LEAVES,
    MOST,
    NOISE_LEAVES,
    OTHER_RANGE,
    TONE_SHARE,
    hypothesis_of,
    most_missed,
)
from lutbench.identification.rising import rising_run
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.identification.target import Through
from lutbench.identification.verdict import Finalist
from lutbench.model.transforms import Array, Transform

APART = 2.5
"""10-bit codes by which separate channels may seem to affect each other: noise of a code."""

NOISY = 0.1
"""10-bit codes of spread below which an average of nodes is no better than one node."""

ADDED = 1.0
"""10-bit codes, root mean square, of residual up to which a sum of curves explains the LUT."""

ADDED_ROWS = 3000
"""Nodes on which a sum of curves is fitted, which keeps the time short."""

ADDED_FROM = 3
"""The fewest nodes for each value of the curves: with fewer, a sum of curves fits anything."""

POINTS = 33
"""Points of a curve that are compared, as many as a usual LUT has along an edge."""

KEPT = 12
"""A quarter of the fits that are kept."""

FORECASTS = 10
"""Hypotheses that are computed on nodes all over the LUT."""

STEP_LEFT = 0.45
"""Of the step of a rounded table: a stretch of it is followed no nearer."""


def is_apart(samples: Samples) -> bool:
    """Whether each output channel depends only on its own input channel."""
    alone = np.stack(
        [np.interp(samples.axis, samples.neutral_in, samples.neutral[:, c]) for c in range(3)],
        axis=1,
    )
    worst = 0.0
    for c in range(3):
        shape = [1, 1, 1]
        shape[c] = -1
        off = np.abs(samples.table[..., c] - alone[:, c].reshape(shape))
        worst = max(worst, float(off.max()))
    return worst * CODES <= APART


def only_mixes(samples: Samples) -> bool:
    """Whether the channels only mix linearly after a curve on each.

    Then each output is a sum of a curve of red, one of green and one of blue (except where
    it is clipped), whatever the curves are: the saturation of a grade does that, a gamut
    conversion between curves does not.
    """
    places = np.argwhere(samples.clear.all(axis=-1))
    if len(places) > ADDED_ROWS:
        places = places[np.random.default_rng(3).choice(len(places), ADDED_ROWS, replace=False)]
    size = len(samples.axis)
    used = [np.unique(places[:, c], return_inverse=True) for c in range(3)]
    if not len(places) or len(places) < ADDED_FROM * sum(len(values) for values, _ in used):
        return False
    sums = np.concatenate([np.eye(size)[values[at]][:, values] for values, at in used], axis=1)
    outputs = samples.table[tuple(places.T)]
    solution = np.linalg.lstsq(sums, outputs, rcond=None)[0]
    residual = np.sqrt(np.mean((outputs - sums @ solution) ** 2)) * CODES
    ends = np.cumsum([len(values) for values, _ in used])[:2]
    spans = np.array([np.ptp(curve, axis=0) for curve in np.split(solution, ends)])
    # A swap of channels or a rotation of hues is no curve: each channel must stay mostly itself.
    own = (np.diag(spans) > spans.sum(axis=0) / 2).all()
    return bool(residual <= ADDED and own)


def averaged(samples: Samples) -> Samples:
    """Samples with separate channels, with the noise of their neutral axis averaged out.

    All nodes with the same input in a channel should have the same output in it.
    """
    means, spread = [], 0.0
    for c in range(3):
        others = tuple(k for k in range(3) if k != c)
        means.append(samples.table[..., c].mean(axis=others))
        spread = max(spread, float(samples.table[..., c].std(axis=others).max()))
    if spread * CODES < NOISY:
        return samples
    return replace(samples, neutral_in=samples.axis, neutral=np.stack(means, axis=1))


def pairs_of_curves(
    places: Array,
    outputs: Array,
    sources: Sequence[End],
    targets: Sequence[End],
    limit: float,
    step: float = 0.0,
) -> list[TargetFit]:
    """Source and target for a curve given at full-scale inputs, the source as `group`.

    Plain pairs first; where none fits within `limit` codes, pairs that fit over a stretch
    beside a tone curve, and display curves with a CDL.
    """
    if len(places) > POINTS:
        some = np.linspace(0, len(places) - 1, POINTS).round().astype(int)
        places, outputs = places[some], outputs[some]
    lights = np.array([source.decode(places) for source in sources])
    tinted = FreeCurve(lights[0], outputs).tinted
    through = Through.of(outputs, targets, step)
    found: list[TargetFit] = []
    for i, light in enumerate(lights):
        for fit in through.fits(light, tinted):
            if fit.model == "tone" or fit.error <= limit:
                found.append(replace(fit, group=i))
    if not any(fit.model == "plain" for fit in found):
        if not tinted:
            found += through.logistic(lights, targets)
        chosen = np.array(
            [j for j, end in enumerate(targets) if end.curve.curve.shown], dtype=np.int64
        )
        group, target = (
            each.ravel() for each in np.meshgrid(np.arange(len(sources)), chosen, indexing="ij")
        )
        if len(target):
            curve = FreeCurve(lights[0], outputs)
            problems = Problems.of(lights[group], curve, targets, target, group)
            found += fit_cdl(problems, np.zeros(len(target)))
            found += fit_contrast(problems)
    return sorted(found, key=lambda fit: fit.cost)[: 4 * KEPT]


@dataclass(frozen=True)
class SeenCurve:
    """A curve at full-scale inputs, its noise in codes, what it is known to, and a grade after."""

    places: Array
    outputs: Array
    noise: float
    known_to: float
    grade: tuple[Transform, ...] = ()


def search_curves(samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists for a LUT whose channels do not affect each other, best first."""
    run = rising_run(samples)
    if run is None:
        return []
    seen = SeenCurve(samples.neutral_in[run], samples.neutral[run], MODEL_LEAVES, samples.floor)
    return finalists_of_curve(seen, samples, samples, knowledge)


def finalists_of_curve(
    seen: SeenCurve, samples: Samples, few: Samples, knowledge: Knowledge
) -> list[Finalist]:
    """Finalists for a curve, best first, with forecasts on `few` of the nodes."""
    found = sorted(_from_curve(seen, samples, knowledge), key=lambda each: each[1])[:FORECASTS]
    made = []
    for hypothesis, cost in found:
        predicted = forecast(hypothesis, few)
        made.append(Finalist(hypothesis, predicted, error_of(predicted, few), cost))
    # The curve's names are judged by their cost: the nodes say the same of all.
    least = min((each.error for each in made), default=0.0)
    return [replace(each, error=least) for each in made]


def _from_curve(
    seen: SeenCurve, samples: Samples, knowledge: Knowledge
) -> Iterator[tuple[Hypothesis, float]]:
    """Hypotheses of a curve, each with its cost."""
    places, outputs, noise = seen.places, seen.outputs, seen.noise
    ends, targets = knowledge.sources, knowledge.targets
    limit = most_missed(noise)
    wanted = range_seen(samples)
    tinted = FreeCurve(places, outputs, noise).tinted
    exact = max(MANY_WITHIN, NOISE_LEAVES * seen.known_to)
    for fit in pairs_of_curves(places, outputs, ends, targets, limit, samples.step):
        end, source = targets[fit.target], ends[fit.group]
        toned = fit.model == "tone"
        stretch = max(limit, STEP_LEFT * samples.step * CODES) if toned else limit
        if fit.error > stretch or fit.share < (TONE_SHARE if toned else MOST):
            continue
        if fit.model == "contrast" and not tinted and fit.error > exact:
            continue  # a tone curve, which a cubic only approximates
        cost = fit.cost + (OTHER_RANGE if wanted is not None and end.range != wanted else 0.0)
        if toned and not end.curve.curve.shown:
            cost += GRADED_LOG
        curve = FreeCurve(source.decode(places), outputs, noise)
        hypothesis = hypothesis_of(source, fit, knowledge, curve, seen.grade, samples)
        if hypothesis is not None:
            yield hypothesis, cost
