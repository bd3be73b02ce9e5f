"""LUTs that leave the gamut alone: no matrix mixes light, so any source would fit.

What is left to tell source and target by is the curve itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.freecurve import FreeCurve, TargetFit, cost_of
from lutbench.identification.graded import Problems, fit_cdl, fit_contrast
from lutbench.identification.ground import rising_run
from lutbench.identification.hypothesis import Hypothesis, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.neutral import match_neutral
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.identification.target import Through
from lutbench.identification.targets import (
    MODEL_LEAVES,
    NOISE_LEAVES,
    OTHER_RANGE,
    error_of,
    hypothesis_of,
)
from lutbench.identification.untold import guessed_curves
from lutbench.identification.verdict import EXACT, Finalist, ranked
from lutbench.model.transforms import Array, Transform

APART = 2.5
"""Codes: channels that act on each other by no more are taken to be apart (noise of a code)."""

NOISY = 0.1
"""Codes: nodes that differ by less say nothing more together than one alone."""

PLAIN_WITHIN, PLAIN_MOST = 1.2, 10
"""Codes that a plain pair of curves may leave, and how many are worked out."""

POINTS, KEPT = 33, 12
EXACT_CONTRAST = 0.1
"""Codes that a contrast on an untinted curve may leave, beside noise."""

TONED_LOG = 20.0
"""What a tone curve before an encoding costs that no picture is shown in."""

TONE_SHARE, MODEL_SHARE = 0.1, 0.7
"""The least part of a curve that a stretch, and that a model, must explain."""


def curves_alone(samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists for channels that do not act on each other, best first."""
    order = ranked(_plain(samples, knowledge))
    if order and order[0].error <= EXACT:
        return order
    run = rising_run(samples)
    if run is not None:
        places, outputs = samples.neutral_in[run], samples.neutral[run]
        known_to = (MODEL_LEAVES, samples.floor)
        more = of_curve((places, outputs), (), known_to, samples, knowledge)
        order = ranked([*order, *more])
    return order or ranked(guessed_curves(samples.few, knowledge))


def _plain(samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Pairs of curves with nothing but an exposure between them."""
    match = match_neutral(samples, knowledge.sources, knowledge.targets)
    found = []
    for i, j in match.shortlist(PLAIN_WITHIN, PLAIN_MOST):
        source, target = knowledge.sources[i], knowledge.targets[j]
        h = Hypothesis(source, target, knowledge.bank.pair(0), float(match.stops[i, j].mean()))
        told = forecast(h, samples)
        # Noise says nothing against a pair of curves.
        excess = np.sqrt(max(float(match.error[i, j]) ** 2 - samples.noise**2, 0.0))
        found.append(
            Finalist(h, told, error_of(told, samples), float(cost_of(np.array(excess), 1)))
        )
    return found


def of_curve(
    curve: tuple[Array, Array],
    grade: tuple[Transform, ...],
    known_to: tuple[float, float],
    samples: Samples,
    knowledge: Knowledge,
) -> list[Finalist]:
    """Finalists for a curve given as full-scale inputs and outputs.

    `known_to` are codes that it may be off, and that a contrast may.
    """
    (places, outputs), (noise, exact), ends = curve, known_to, knowledge.sources
    limit = max(MODEL_LEAVES, NOISE_LEAVES * noise)
    exact = max(EXACT_CONTRAST, NOISE_LEAVES * exact)
    wanted = range_seen(samples)
    tinted = FreeCurve(places, outputs, np.ones(len(places)), noise).tinted
    found: list[tuple[float, Hypothesis]] = []
    for told in pairs_of_curves(places, outputs, ends, knowledge.targets, limit, samples.step):
        end, source = knowledge.targets[told.target], ends[told.group]
        # A stretch of a rounded table is followed to within a step.
        stretch = max(limit, 0.45 * samples.step * CODES) if told.model == "tone" else limit
        if told.error > stretch or told.share < (
            TONE_SHARE if told.model == "tone" else MODEL_SHARE
        ):
            continue
        if told.model == "contrast" and not tinted and told.error > exact:
            continue  # a tone curve, which a cubic is only near to
        cost = told.cost + (OTHER_RANGE if wanted is not None and end.range != wanted else 0.0)
        if told.model == "tone" and not end.curve.curve.shown:
            cost += TONED_LOG
        free = FreeCurve(source.decode(places), outputs, np.ones(len(places)), noise)
        h = hypothesis_of(source, told, knowledge, free, grade, samples)
        if h is not None:
            found.append((cost, h))
    found.sort(key=lambda each: each[0])
    return [Finalist(h, forecast(h, samples.few), noise, cost) for cost, h in found[:KEPT]]


def is_apart(samples: Samples) -> bool:
    """Whether each output channel hangs on its own input alone."""
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


def averaged(samples: Samples) -> Samples:
    """Samples whose channels are apart, with the noise of their neutral axis averaged out.

    Every node of one input says the same of its channel.
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

    Plain pairs first; where none fits within `limit` codes, a stretch of a pair
    under a tone curve, and a CDL on the curves that pictures are made for.
    """
    if len(places) > POINTS:
        some = np.linspace(0, len(places) - 1, POINTS).round().astype(int)
        places, outputs = places[some], outputs[some]
    lights = np.array([source.decode(places) for source in sources])
    tinted = FreeCurve(lights[0], outputs, np.ones(len(places))).tinted
    through = Through.of(outputs, targets, step)
    found: list[TargetFit] = []
    for i, light in enumerate(lights):
        for fit in through.fits(light, tinted):
            if fit.model == "tone" or fit.error <= limit:
                found.append(
                    TargetFit(
                        fit.target,
                        fit.model,
                        fit.stops,
                        fit.error,
                        fit.share,
                        None,
                        fit.cost,
                        i,
                    )
                )
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
            curve = FreeCurve(lights[0], outputs, np.ones(len(places)))
            problems = Problems.of(lights[group], curve, targets, target, group)
            found += fit_cdl(problems, np.zeros(len(target)))
            found += fit_contrast(problems)
    return sorted(found, key=lambda fit: fit.cost)[: 4 * KEPT]
