"""From the free curve of a fit to hypotheses: targets that explain it, and the grade."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.freecurve import FreeCurve, TargetFit
from lutbench.identification.gamutbank import Pair
from lutbench.identification.hypothesis import Hypothesis, ToneTarget
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import goes_together
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.identification.target import fit_targets
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.signal import Range
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import Lut1D
from lutbench.tables.nodes import greys

MODEL_LEAVES = 0.35
"""10-bit codes of residual that a model of the free curve may have without noise."""

NOISE_LEAVES = 1.5
"""Times the noise that its residual may have."""

HEIGHT_LEAVES = 1e-4
"""The error of tables and matrices for a signal over 1, as a share of it."""

PLAIN_LIMITS = 2
"""Times that limit for a target that explains the curve without any model."""

MOST = 0.7
"""The share of a curve that a model must explain."""

MANY = 0.5
"""A smaller share that is enough where the error is small."""

MANY_WITHIN = 0.1
"""10-bit codes of error up to which it is."""

TONE_SHARE = 0.15
"""The least part of a curve that a stretch of a display curve must explain."""

LOG_SHARE = 0.35
"""The least part of a curve that a stretch of another curve must explain: there are so many that
a short stretch may fit one by chance."""

OTHER_RANGE = 40.0
"""The cost of a range that contradicts the plateaus of the LUT."""

OUT_OF_RANGE = -2.0
"""Full-scale output below which a node is not to be used."""

HARDLY = 1e-7
"""The rise of a tabulated curve between nodes where the LUT is flat: a table must rise."""

GUESS_UNPAIRED = 12.0
"""The cost of a guessed target that is unusual with its gamut."""

GRADED_LOG = 40.0
"""The cost of a look on an encoding that is not a display curve, or of a tone curve before one."""

GAMUT_ONLY = 12.0
"""The bonus for the source's own curve as target: gamut-only conversions are common."""

ANY_STOPS = 0.5
"""Stops of exposure from which a conversion to the source's own curve is not gamut-only."""

OWN_STOPS = {"contrast": 0.15}
"""The same for models that determine the exposure better."""

CONTRAST_ALONE = 15.0
"""The cost of a CDL or a contrast where greys have no tint: a tone curve looks the same."""

NOTHING = TargetFit(-1, "tone", 0.0, 0.0, 0.0, None, 200.0)
"""No target at all, with its cost: the last resort."""


@dataclass(frozen=True)
class Beside:
    """The context of a target: the source, the pair of gamuts, and the LUT itself."""

    source: End
    pair: Pair
    samples: Samples


def most_missed(noise: float) -> float:
    """The residual in codes that a model of a curve may have which is known to `noise`."""
    return max(MODEL_LEAVES, NOISE_LEAVES * noise)


def targets_of(
    curve: FreeCurve, knowledge: Knowledge, beside: Beside, noise: float
) -> list[TargetFit]:
    """The targets that explain the free curve, each once; best first."""
    samples = beside.samples
    limit = most_missed(noise)
    limit += HEIGHT_LEAVES * CODES * max(float(curve.output.max()) - 1, 0.0)
    found: list[TargetFit] = []
    targets = knowledge.targets
    for fit in fit_targets(curve, targets, limit, samples.step, beside.source):
        cost = _cost_of(fit, targets[fit.target], curve, beside, limit)
        if cost is not None:
            found.append(replace(fit, cost=cost))
    found.sort(key=lambda fit: fit.cost)
    kept: list[TargetFit] = []
    for fit in found:
        if all(fit.target != other.target for other in kept):
            kept.append(fit)
    return kept


def _cost_of(
    fit: TargetFit, end: End, curve: FreeCurve, beside: Beside, limit: float
) -> float | None:
    """The cost of a target with its source and gamuts; None where it explains too little."""
    # The source's own curve makes a gamut conversion, which leaves the exposure alone.
    own = end.number == beside.source.number and (
        fit.model == "tone" or abs(fit.stops) < OWN_STOPS.get(fit.model, ANY_STOPS)
    )
    shown = end.curve.curve.shown or own
    most = fit.share >= MOST or (fit.share >= MANY and fit.error <= MANY_WITHIN)
    good = fit.error <= (PLAIN_LIMITS if fit.model == "plain" else 1) * limit and most
    if fit.model == "tone":
        good = fit.error <= limit and fit.share >= (TONE_SHARE if shown else LOG_SHARE)
    if not (good or fit.model == "smooth"):
        return None
    pair, wanted = beside.pair, range_seen(beside.samples)
    cost = fit.cost
    if fit.model in ("cdl", "contrast"):
        cost += (0.0 if curve.tinted else CONTRAST_ALONE) + (0.0 if shown else GRADED_LOG)
    if wanted is not None and end.range != wanted:
        cost += OTHER_RANGE
    if fit.model == "smooth" and not pair.alike and not goes_together(end, pair.target.name):
        cost += GUESS_UNPAIRED
    if not pair.alike and own and fit.model != "tone":
        cost -= GAMUT_ONLY
    return cost


def hypothesis_of(
    source: End,
    fit: TargetFit,
    knowledge: Knowledge,
    curve: FreeCurve,
    grade: tuple[Transform, ...],
    samples: Samples,
) -> Hypothesis | None:
    pair = knowledge.bank.pair(0)
    end = knowledge.targets[fit.target] if fit.target >= 0 else None
    if end is None or fit.model in ("tone", "smooth", "logistic"):
        # Little of a tone curve that is followed to its end is left unexplained.
        if end is not None and fit.model == "tone" and fit.share > 0.97:
            return Hypothesis(source, end, pair, fit.stops, None, grade)
        name: Range = end.range if end else (range_seen(samples) or "full")
        table = tabulated(_to_the_ends(curve, source, samples), fit.stops, name)
        if table is None:
            return None
        tone = ToneTarget(table, name, end, guessed=fit.model == "smooth")
        return Hypothesis(source, tone, pair, fit.stops, None, grade)
    steps: tuple[Transform, ...] = ()
    if fit.model == "cdl":
        slope, offset, power = (tuple(map(float, row)) for row in np.asarray(fit.parameters))
        saturation = next((g.amount for g in grade if isinstance(g, Saturation)), 1.0)
        try:
            cdl = Cdl(slope, offset, power, saturation)  # type: ignore[arg-type]
        except LutbenchError:
            return None
        steps = (cdl, *(g for g in grade if not isinstance(g, Saturation)))
    elif fit.model == "contrast":
        steps = (_cubic(np.asarray(fit.parameters)), *grade)
    else:
        steps = grade
    return Hypothesis(source, end, pair, fit.stops, None, steps)


def _to_the_ends(curve: FreeCurve, source: End, samples: Samples) -> FreeCurve:
    """The curve, extended by the neutral nodes beyond it.

    A shoulder flattens until noise hides its rise; there the best rising curve is taken.
    """
    from scipy.optimize import isotonic_regression

    light = source.of_axis(samples.neutral_in)
    fine = np.isfinite(light) & (samples.neutral > OUT_OF_RANGE).all(axis=1)
    light, output = light[fine], samples.neutral[fine].mean(axis=1)
    order = np.argsort(light, kind="stable")
    light, output = light[order], output[order]
    parts = [(curve.light, curve.output.mean(axis=1))]
    above, below = light > curve.light.max(), light < curve.light.min()
    first, last = parts[0][1][0], parts[0][1][-1]
    if above.any():
        rising = np.maximum(isotonic_regression(output[above]).x, last)
        parts.append((light[above], rising + HARDLY * np.arange(1, above.sum() + 1)))
    if below.any():
        rising = np.minimum(isotonic_regression(output[below]).x, first)
        parts.insert(0, (light[below], rising - HARDLY * np.arange(below.sum(), 0, -1)))
    light, output = (np.concatenate(each) for each in zip(*parts, strict=True))
    return FreeCurve(light, greys(output), curve.noise)


def _cubic(coefficients: Array) -> Lut1D:
    """A cubic of the signal as a LUT of the signal."""
    signal = np.linspace(0, 1, 1025)
    return Lut1D((signal[:, None] ** np.arange(4)) @ coefficients.T)


def tabulated(curve: FreeCurve, stops: float, name: Range) -> Tabulated | None:
    """The free curve as light (after the exposure) to signal; None where it does not rise."""
    low, span = scale_of(name)
    light = curve.light * 2.0**stops
    signal = (curve.output.mean(axis=1) - low) / span
    keep = [0]
    for i in range(1, len(light)):
        last = float(light[keep[-1]])
        if light[i] > last + 1e-9 * abs(last) + 1e-12 and signal[i] > signal[keep[-1]]:
            keep.append(i)
    if len(keep) < 4:
        return None
    try:
        return Tabulated("tone curve", tuple(light[keep].tolist()), tuple(signal[keep].tolist()))
    except LutbenchError:
        return None
