"""Hypotheses with a look or a tone curve: from free fits to something that has names."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.curvesonly import pairs_of_curves, unmoved_fit
from lutbench.identification.freecurve import FreeCurve, TargetFit, cost_of
from lutbench.identification.freeform import (
    NOISE_OF_MEDIAN,
    FreeFit,
    match_free,
    race,
    refitted,
)
from lutbench.identification.gamutbank import Pair
from lutbench.identification.ground import (
    Ground,
    Start,
    glance,
    ground_of,
    rising_run,
    screen,
)
from lutbench.identification.hypothesis import Forecast, Hypothesis, ToneTarget
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import goes_together
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.identification.secondfits import Among, by_part, with_pair
from lutbench.identification.target import fit_targets
from lutbench.identification.verdict import WEIGHT
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.grade import CDL_WEIGHTS, Cdl, Saturation
from lutbench.model.signal import Range
from lutbench.model.transforms import Array, Matrix, Transform
from lutbench.tables.lut import Lut1D

MIXES = 0.008
"""A mixing matrix nearer to none than this is none."""

# Free fits that are followed up, and gamut pairs and targets of each.
FOLLOWED, PAIRS, TARGETS = 3, (3, 2, 2), 3

# Codes: what a model of the free curve may leave over, beside the noise.
MODEL_LEAVES, NOISE_LEAVES = 0.35, 1.5
HEIGHT_LEAVES = 1e-4
"""What tables and matrices leave of a signal over 1, as a share of it."""

PLAIN_LIMITS = 2
"""A curve that is followed without any model may leave this many times as much."""

HOLDS, HOLDS_CODES, HOLDS_SHARE = 4.0, 2.0, 0.8
"""A CDL must foretell half of the nodes, and this share of the neutral ones, to this many times
what the free fit leaves, and some codes.
"""

MOST, MANY, MANY_WITHIN = 0.7, 0.5, 0.1
"""The share of a curve that a model must explain, and a smaller one if within so many codes."""

TONE_SHARE, CURVE_TONE_SHARE = 0.15, 0.1
"""The least part of a curve that a stretch must explain."""

LOG_SHARE = 0.35
"""The same for curves that no picture is shown in: a short stretch follows one of so many by
chance.
"""

INNER_FROM, NOISY_FROM = 0.3, 0.8
"""Codes: a fit that leaves more, and more than noise can, is tried anew on a part of the nodes."""

UNMOVED = 0.75
"""Codes: a fit without a matrix on light that leaves no more needs none."""
OTHER_RANGE = 40.0
OUT_OF_RANGE = -2.0
"""Full-scale output under this stands for a node that is not to be used."""

HARDLY = 1e-7
"""So much a tabulated curve rises from node to node where it does not."""

GUESS_UNPAIRED = 12.0
EXACT_CONTRAST = 0.1
"""Codes that a contrast on an untinted curve may leave, beside noise."""

GRADED_LOG = 40.0
"""What a look on an encoding costs that no picture is shown in."""

TONED_LOG = 20.0
"""What a tone curve before an encoding costs that no picture is shown in."""

NOTHING = TargetFit(-1, "tone", 0.0, 0.0, 0.0, None, 200.0)
"""No target at all: the last resort, and what it costs."""

LIKELY = 12
"""Targets of the first pair of gamuts that are tried with the next."""

GAMUT_ONLY = 12.0
ANY_STOPS, OWN_STOPS = 0.5, {"contrast": 0.15}
"""An exposure over which a conversion to the source's own curve is no gamut conversion alone; by
models that tell it better.
"""

STARTS = 3
"""First fits by whose error forms of a LUT are told apart."""

MUCH_ALIKE, FORM_WORSE = 1.3, 3.0
"""The LUT as it is comes first where its error is no more than this many times the least; another
that leaves so many times the error of the first is left alone.
"""

AT_ONCE, SOONER = 0.1, 0.5
"""The LUT as it is needs no comparing where its first fits leave no more codes than this, or this
share of what another leaves at a glance: first fits in full leave less than that glance.
"""

CONTRAST_ALONE = 15.0
FLOOR, BEHIND = 0.02, 1.3
"""Codes that are added to errors before they are weighed, and how many times the least is much
more.
"""


@dataclass(frozen=True)
class Loose:
    """A hypothesis from a free fit: the error in codes of the fit, the cost of its curve."""

    hypothesis: Hypothesis
    error: float
    curve_cost: float

    @property
    def cost(self) -> float:
        """What ranks them: less is better."""
        return WEIGHT * float(np.log(self.error + FLOOR)) + self.curve_cost


@dataclass(frozen=True)
class Field:
    """One form of a LUT (as it is, or without a tint) with a first fit of each source."""

    samples: Samples
    ground: Ground
    ends: list[End]
    starts: Sequence[Start | None]

    @property
    def error(self) -> float:
        """The error in codes of the best first fits."""
        errors = sorted(each.error for each in self.starts if each)[:STARTS]
        return float(np.mean(errors)) if errors else float(np.inf)


def fields_of(
    forms: Sequence[Samples], knowledge: Knowledge, sources: Sequence[int] | None
) -> Iterator[Field]:
    """The forms of a LUT that can be searched, the likeliest first, and what comes near it.

    `sources` are those to look among for the first form, None for all; without
    a tint any may show. Each is worked out when it is asked for.
    """
    fields: list[Field] = []
    for number, form in enumerate(forms):
        ground = ground_of(form)
        if ground is None:
            continue
        ends = knowledge.sources
        if sources is not None and not number:
            ends = [ends[i] for i in sources]
        fields.append(Field(form, ground, ends, ()))
    whole = fields.pop(0) if fields and fields[0].samples is forms[0] else None
    told = False
    if whole is not None:
        whole = _screened(whole)
        told = whole.error <= AT_ONCE
        if told:
            yield whole
    if len(fields) > 1:
        seen = [replace(f, starts=glance(f.ground, f.samples, f.ends)) for f in fields]
        fields = [min(seen, key=lambda field: field.error)]
        if whole is not None and not told and whole.error <= SOONER * fields[0].error:
            told = True
            yield whole
    order = [_screened(each) for each in fields]
    if whole is not None:
        least = min(field.error for field in [whole, *order])
        order.insert(0 if whole.error <= MUCH_ALIKE * least else len(order), whole)
    for field in order:
        if field.error <= FORM_WORSE * order[0].error and not (told and field is whole):
            yield field


def _screened(field: Field) -> Field:
    return replace(field, starts=screen(field.ground, field.samples, field.ends))


def search_free(field: Field, knowledge: Knowledge) -> list[Loose]:
    """Hypotheses for any target, among the sources of the field, best first."""
    ground, samples, ends = field.ground, field.samples, field.ends
    unmoved = unmoved_fit(ground, samples, ends)
    if unmoved is not None and unmoved.error <= UNMOVED:
        return _curves_of(ground, samples, knowledge, ends, unmoved)
    fits = race(ground, samples, ends, field.starts)
    among = Among(samples, ends, field.starts, knowledge.bank)
    if not fits or fits[0].error > (NOISY_FROM if fits[0].no_tail else INNER_FROM):
        fits, ground = by_part(ground, among, fits)
    fits = with_pair(ground, among, fits) + fits
    found: list[Loose] = []
    likely: Sequence[int] = range(len(knowledge.targets))
    for fit, pairs in zip(fits[:FOLLOWED], PAIRS, strict=False):
        best = min((each.cost for each in found), default=np.inf)
        if _is_behind(fit, fits[0]) and _least_cost(fit) > best:
            continue
        noise = fits[0].is_noise
        more, near = _followed(ground, samples, knowledge, ends, fit, pairs, likely, noise=noise)
        found += more
        if fit is fits[0] and more:
            likely = near
    return sorted(found, key=lambda each: each.cost)


def _is_behind(fit: FreeFit, first: FreeFit) -> bool:
    """Whether a fit leaves so much more than the first that it is no rival of it."""
    return fit.error + FLOOR > BEHIND * (first.error + FLOOR)


def _least_cost(fit: FreeFit) -> float:
    """What a hypothesis of a fit costs at least: with a target that explains its curve plainly."""
    error = min(fit.error / NOISE_OF_MEDIAN, fit.typical)
    return WEIGHT * float(np.log(error + FLOOR)) + float(cost_of(np.array(error), 0)) - GAMUT_ONLY


def search_curves(samples: Samples, knowledge: Knowledge) -> list[Loose]:
    """Hypotheses for a LUT whose channels do not act on each other, best first."""
    run = rising_run(samples)
    if run is None:
        return []
    return _from_curve(
        samples.neutral_in[run],
        samples.neutral[run],
        (),
        MODEL_LEAVES,
        samples.floor,
        samples,
        knowledge,
        knowledge.sources,
    )


def _curves_of(
    ground: Ground, samples: Samples, knowledge: Knowledge, ends: list[End], fit: FreeFit
) -> list[Loose]:
    """Hypotheses for a fit that needs no matrix on light."""
    places, outputs, _ = fit.free_curve(ground)
    grade = _grade_of(fit.mixing)
    return _from_curve(places, outputs, grade, fit.typical, fit.typical, samples, knowledge, ends)


def _from_curve(
    places: Array,
    outputs: Array,
    grade: tuple[Transform, ...],
    noise: float,
    known_to: float,
    samples: Samples,
    knowledge: Knowledge,
    ends: Sequence[End],
) -> list[Loose]:
    limit = max(MODEL_LEAVES, NOISE_LEAVES * noise)
    wanted = range_seen(samples)
    tinted = FreeCurve(places, outputs, np.ones(len(places)), noise).tinted
    exact = max(EXACT_CONTRAST, NOISE_LEAVES * known_to)
    found: list[Loose] = []
    for told in pairs_of_curves(places, outputs, ends, knowledge.targets, limit, samples.step):
        end, source = knowledge.targets[told.target], ends[told.group]
        # A stretch of a rounded table is followed to within a step.
        stretch = max(limit, 0.45 * samples.step * CODES) if told.model == "tone" else limit
        if told.error > stretch or told.share < (CURVE_TONE_SHARE if told.model == "tone" else 0.7):
            continue
        if told.model == "contrast" and not tinted and told.error > exact:
            continue  # a tone curve, which a cubic is only near to
        cost = told.cost + (OTHER_RANGE if wanted is not None and end.range != wanted else 0.0)
        if told.model == "tone" and not end.curve.curve.shown:
            cost += TONED_LOG
        curve = FreeCurve(source.decode(places), outputs, np.ones(len(places)), noise)
        hypothesis = hypothesis_of(source, told, knowledge, curve, grade, samples)
        if hypothesis is not None:
            found.append(Loose(hypothesis, noise, cost))
    return sorted(found, key=lambda each: each.cost)


def _followed(
    ground: Ground,
    samples: Samples,
    knowledge: Knowledge,
    ends: list[End],
    fit: FreeFit,
    pairs: int,
    likely: Sequence[int],
    *,
    noise: bool,
) -> tuple[list[Loose], Sequence[int]]:
    """Hypotheses of a free fit, with so many pairs of gamuts; and the targets that come near.

    Targets are looked for among the `likely` and the source itself, and with a second pair of
    gamuts among those that come near with the first. Where the best fit leaves but `noise`, all
    of its nodes weigh.
    """
    errors = match_free(fit, knowledge.bank)
    found: list[Loose] = []
    seen: set[tuple[str, str]] = set()
    best = np.inf
    number = ends[fit.source].number
    own = (j for j, end in enumerate(knowledge.targets) if end.number == number)
    likely = sorted({*likely, *own})
    for index in [*np.argsort(errors)[: 4 * pairs].tolist(), 0]:
        if index and (errors[index] > 2 * best + 0.5 or len(seen) >= pairs):
            continue
        if not index and errors[0] > 2 * best + 0.5:
            continue
        pair = knowledge.bank.pair(int(index))
        if (pair.source.name, pair.target.name) in seen:
            continue
        seen.add((pair.source.name, pair.target.name))
        held = refitted(ground, samples, ends, fit, pair.matrix)
        if held.knots is None or not np.isfinite(held.error):
            continue
        best = min(best, held.error)
        source = ends[fit.source]
        places, outputs, trust = held.free_curve(ground)
        curve = FreeCurve.of(source.decode(places), outputs, trust, held.typical)
        grade = _grade_of(held.mixing)
        told_here = targets_of(curve, knowledge, source, samples, held.typical, pair, likely)
        if len(seen) == 1:
            likely = _likely(told_here, knowledge, source)
        for told in told_here[:TARGETS] or [NOTHING]:
            hypothesis = hypothesis_of(source, told, knowledge, curve, grade, samples)
            if hypothesis is None:
                continue
            hypothesis = replace(hypothesis, pair=pair, compression=held.form.compression)
            if told.model != "cdl" or _holds(hypothesis, ground, samples, held.typical):
                error = held.error / NOISE_OF_MEDIAN if noise else held.typical
                found.append(Loose(hypothesis, error, told.cost))
    return found, likely


def _holds(hypothesis: Hypothesis, ground: Ground, samples: Samples, typical: float) -> bool:
    """Whether a hypothesis foretells the nodes of a free fit, and the neutral ones, about as well.

    A model that needs signal over 1 fits a curve that goes on, and not one that clips there.
    """
    off = hypothesis.apply(samples.axis[ground.axis_places]) - ground.outputs
    neutral = hypothesis.apply(np.repeat(ground.neutral_in[:, None], 3, axis=1)) - ground.neutral
    limit = (HOLDS * typical + HOLDS_CODES) / CODES
    return bool(
        np.median(np.abs(off)) <= limit
        and np.mean(np.abs(neutral).max(axis=1) <= limit) >= HOLDS_SHARE
    )


def _likely(told: list[TargetFit], knowledge: Knowledge, source: End) -> list[int]:
    """Targets worth a trial with another pair of gamuts: the curve hardly changes with it."""
    near = {fit.target for fit in told[:LIKELY]}
    return [
        j
        for j, end in enumerate(knowledge.targets)
        if j in near or end.number == source.number or end.curve.curve.shown
    ]


def targets_of(
    curve: FreeCurve,
    knowledge: Knowledge,
    source: End,
    samples: Samples,
    noise: float,
    pair: Pair,
    among: Sequence[int],
) -> list[TargetFit]:
    """The targets, of some by their indices, that explain the free curve, each once; best first."""
    wanted = range_seen(samples)
    limit = max(MODEL_LEAVES, NOISE_LEAVES * noise)
    limit += HEIGHT_LEAVES * CODES * max(float(curve.output.max()) - 1, 0.0)
    told: list[TargetFit] = []
    targets = [knowledge.targets[j] for j in among]
    for fit in fit_targets(curve, targets, limit, samples.step, source):
        end = targets[fit.target]
        most = fit.share >= MOST or (fit.share >= MANY and fit.error <= MANY_WITHIN)
        good = fit.error <= (PLAIN_LIMITS if fit.model == "plain" else 1) * limit and most
        # The source's own curve makes a gamut conversion, which leaves the exposure alone.
        own = end.number == source.number and (
            fit.model == "tone" or abs(fit.stops) < OWN_STOPS.get(fit.model, ANY_STOPS)
        )
        shown = end.curve.curve.shown or own
        if fit.model == "tone":
            least = TONE_SHARE if shown else LOG_SHARE
            good = fit.error <= limit and fit.share >= least
        if not (good or fit.model == "smooth"):
            continue
        cost = fit.cost
        if fit.model in ("cdl", "contrast") and not curve.tinted:
            cost += CONTRAST_ALONE
        if fit.model in ("cdl", "contrast") and not shown:
            cost += GRADED_LOG
        if wanted is not None and end.range != wanted:
            cost += OTHER_RANGE
        if fit.model == "smooth" and not pair.alike and not goes_together(end, pair.target.name):
            cost += GUESS_UNPAIRED
        if not pair.alike and own and fit.model != "tone":
            cost -= GAMUT_ONLY
        told.append(replace(fit, target=among[fit.target], cost=cost))
    told.sort(key=lambda fit: fit.cost)
    kept: list[TargetFit] = []
    for fit in told:
        if all(fit.target != other.target for other in kept):
            kept.append(fit)
    return kept


def _grade_of(mixing: Array) -> tuple[Transform, ...]:
    """What the inverse of Q is: nothing, a saturation, a matrix."""
    if np.abs(mixing - np.eye(3)).max() < MIXES:
        return ()
    try:
        mix = np.linalg.inv(mixing)
    except np.linalg.LinAlgError:
        return ()
    weights = np.array(CDL_WEIGHTS)
    plain = np.eye(3) - np.outer(np.ones(3), weights)
    # mix = luma + amount·(identity - luma): the amount by least squares.
    amount = float(((mix - np.outer(np.ones(3), weights)) * plain).sum() / (plain**2).sum())
    if 0 <= amount <= 20:
        saturation = Saturation(amount)
        if np.abs(np.outer(np.ones(3), weights) + amount * plain - mix).max() < MIXES:
            return (saturation,)
    return (Matrix.from_array(mix),)


def hypothesis_of(
    source: End,
    told: TargetFit,
    knowledge: Knowledge,
    curve: FreeCurve,
    grade: tuple[Transform, ...],
    samples: Samples,
) -> Hypothesis | None:
    pair = knowledge.bank.pair(0)
    end = knowledge.targets[told.target] if told.target >= 0 else None
    if end is None or told.model in ("tone", "smooth", "logistic"):
        # Little of a tone curve that is followed to its end is left unexplained.
        if end is not None and told.model == "tone" and told.share > 0.97:
            return Hypothesis(source, end, pair, told.stops, None, grade)
        name: Range = end.range if end else (range_seen(samples) or "full")
        table = tabulated(_to_the_ends(curve, source, samples), told.stops, name)
        if table is None:
            return None
        tone = ToneTarget(table, name, end, guessed=told.model == "smooth")
        return Hypothesis(source, tone, pair, told.stops, None, grade)
    steps: tuple[Transform, ...] = ()
    if told.model == "cdl":
        slope, offset, power = (tuple(map(float, row)) for row in np.asarray(told.parameters))
        saturation = next((g.amount for g in grade if isinstance(g, Saturation)), 1.0)
        try:
            cdl = Cdl(slope, offset, power, saturation)  # type: ignore[arg-type]
        except LutbenchError:
            return None
        steps = (cdl, *(g for g in grade if not isinstance(g, Saturation)))
    elif told.model == "contrast":
        steps = (_cubic(np.asarray(told.parameters)), *grade)
    else:
        steps = grade
    return Hypothesis(source, end, pair, told.stops, None, steps)


def _to_the_ends(curve: FreeCurve, source: End, samples: Samples) -> FreeCurve:
    """The curve with the neutral nodes beyond it, where the LUT itself says how it goes on.

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
    return FreeCurve(light, np.repeat(output[:, None], 3, axis=1), np.ones(len(light)), curve.noise)


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


def error_of(told: Forecast, samples: Samples) -> float:
    """The typical error in codes of the values in gamut and clear of clipping.

    It is the geometric mean, so that a hypothesis that is exact for most of a
    LUT goes before one that is near for all of it. Out of gamut, conversions
    differ on what to do, so those nodes count only where there are few others.
    """
    clear = samples.clear
    counted = clear & told.inside[..., None]
    if counted.sum() < FEW_INSIDE * max(clear.sum(), 1):
        counted = clear
    values = np.abs(told.miss[counted]) if counted.any() else np.abs(told.miss)
    return float(np.exp(np.mean(np.log(values + LEAST))) - LEAST)


LEAST, FEW_INSIDE = 0.02, 0.02
