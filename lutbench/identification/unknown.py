"""Hypotheses with a look or a tone curve: from free fits to named conversions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.curvesonly import pairs_of_curves, unmoved_fit
from lutbench.identification.freecurve import FreeCurve, TargetFit, cost_of
from lutbench.identification.freefit import NOISE_OF_MEDIAN, CurveFit
from lutbench.identification.freeform import match_free, race, refitted
from lutbench.identification.gamutbank import Pair
from lutbench.identification.ground import (
    CurveGround,
    Start,
    glance,
    ground_of,
    rising_run,
    screen,
)
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.naming import (
    GAMUT_ONLY,
    MODEL_LEAVES,
    NOISE_LEAVES,
    NOTHING,
    OTHER_RANGE,
    Beside,
    grade_of,
    hypothesis_of,
    targets_of,
)
from lutbench.identification.ordering import best_first
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.identification.secondfits import Among, by_part, with_pair
from lutbench.identification.verdict import WEIGHT
from lutbench.model.transforms import Array, Transform

# Free fits that are followed up, and gamut pairs and targets of each.
FOLLOWED, PAIRS, TARGETS = 3, (3, 2, 2), 3

HOLDS, HOLDS_CODES, HOLDS_SHARE = 4.0, 2.0, 0.8
"""A CDL must foretell half of the nodes, and this share of the neutral ones, to this many times
what the free fit leaves, and some codes.
"""

CURVE_TONE_SHARE, CURVE_SHARE = 0.1, 0.7
"""The least part of a curve alone that a stretch, or another model, must explain."""

STEP_LEFT = 0.45
"""Of the step of a rounded table: a stretch of it is followed no nearer."""

INNER_FROM, NOISY_FROM = 0.3, 0.8
"""Codes: a fit that leaves more, and more than noise can, is tried anew on a part of the nodes."""

UNMOVED = 0.75
"""Codes: a fit without a matrix on light that leaves no more needs none."""

EXACT_CONTRAST = 0.1
"""Codes that a contrast on an untinted curve may leave, beside noise."""

TONED_LOG = 20.0
"""What a tone curve before an encoding costs that no picture is shown in."""

LIKELY = 12
"""Targets of the first pair of gamuts that are tried with the next."""

STARTS = 3
"""First fits whose errors decide between forms of a LUT."""

MUCH_ALIKE, FORM_WORSE = 1.3, 3.0
"""The LUT as it is comes first where its error is no more than this many times the least; another
that leaves so many times the error of the first is left alone.
"""

AT_ONCE, SOONER = 0.1, 0.5
"""The LUT as it is needs no comparing where its first fits leave no more codes than this, or this
share of what another leaves at a glance: first fits in full leave less than that glance.
"""

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
        """The number that ranks hypotheses: less is better."""
        return WEIGHT * float(np.log(self.error + FLOOR)) + self.curve_cost


@dataclass(frozen=True)
class Field:
    """One form of a LUT (as it is, or without a tint) with a first fit of each source."""

    samples: Samples
    ground: CurveGround
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
    """The forms of a LUT that can be searched, the likeliest first, then close rivals.

    `sources` are the candidates for the first form, None for all; without its tint a LUT may
    show any source. Each form is prepared when it is requested.
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
    whole_first = False
    if whole is not None:
        whole = _screened(whole)
        whole_first = whole.error <= AT_ONCE
        if whole_first:
            yield whole
    if len(fields) > 1:
        seen = [replace(f, starts=glance(f.ground, f.samples, f.ends)) for f in fields]
        fields = [min(seen, key=lambda field: field.error)]
        if whole is not None and not whole_first and whole.error <= SOONER * fields[0].error:
            whole_first = True
            yield whole
    order = [_screened(each) for each in fields]
    if whole is not None:
        least = min(field.error for field in [whole, *order])
        order.insert(0 if whole.error <= MUCH_ALIKE * least else len(order), whole)
    for field in order:
        if field.error <= FORM_WORSE * order[0].error and not (whole_first and field is whole):
            yield field


def _screened(field: Field) -> Field:
    return replace(field, starts=screen(field.ground, field.samples, field.ends))


def search_free(field: Field, knowledge: Knowledge) -> list[Loose]:
    """Hypotheses for any target, among the sources of the field, best first."""
    ground, samples, ends = field.ground, field.samples, field.ends
    unmoved = unmoved_fit(ground, samples, ends)
    if unmoved is not None and unmoved.error <= UNMOVED:
        return _curves_of(field, knowledge, unmoved)
    fits = race(ground, samples, ends, field.starts)
    among = Among(samples, ends, field.starts, knowledge.bank)
    if not fits or fits[0].error > (NOISY_FROM if fits[0].no_tail else INNER_FROM):
        fits, ground = by_part(ground, among, fits)
    fits = with_pair(ground, among, fits) + fits
    follow = _Follow(replace(field, ground=ground), knowledge, bool(fits and fits[0].is_noise))
    found: list[Loose] = []
    likely: Sequence[int] = range(len(knowledge.targets))
    for fit, pairs in zip(fits[:FOLLOWED], PAIRS, strict=False):
        best = min((each.cost for each in found), default=np.inf)
        if _is_behind(fit, fits[0]) and _least_cost(fit) > best:
            continue
        more, near = follow.hypotheses(fit, pairs, likely)
        found += more
        if fit is fits[0] and more:
            likely = near
    return sorted(found, key=lambda each: each.cost)


def _is_behind(fit: CurveFit, first: CurveFit) -> bool:
    """Whether the error of a fit is too large for it to rival the first."""
    return fit.error + FLOOR > BEHIND * (first.error + FLOOR)


def _least_cost(fit: CurveFit) -> float:
    """The least cost of a fit's hypotheses: with a target that explains its curve plainly."""
    error = min(fit.error / NOISE_OF_MEDIAN, fit.typical)
    return WEIGHT * float(np.log(error + FLOOR)) + float(cost_of(np.array(error), 0)) - GAMUT_ONLY


def search_curves(samples: Samples, knowledge: Knowledge) -> list[Loose]:
    """Hypotheses for a LUT whose channels do not affect each other, best first."""
    run = rising_run(samples)
    if run is None:
        return []
    seen = _SeenCurve(samples.neutral_in[run], samples.neutral[run], MODEL_LEAVES, samples.floor)
    return _from_curve(seen, samples, knowledge, knowledge.sources)


def _curves_of(field: Field, knowledge: Knowledge, fit: CurveFit) -> list[Loose]:
    """Hypotheses for a fit that needs no matrix on light."""
    places, outputs, _ = fit.free_curve(field.ground)
    seen = _SeenCurve(places, outputs, fit.typical, fit.typical, grade_of(fit.mixing))
    return _from_curve(seen, field.samples, knowledge, field.ends)


@dataclass(frozen=True)
class _SeenCurve:
    """A curve at full-scale inputs, its noise in codes, what it is known to, and a grade after."""

    places: Array
    outputs: Array
    noise: float
    known_to: float
    grade: tuple[Transform, ...] = ()


def _from_curve(
    seen: _SeenCurve, samples: Samples, knowledge: Knowledge, ends: Sequence[End]
) -> list[Loose]:
    places, outputs, noise = seen.places, seen.outputs, seen.noise
    limit = max(MODEL_LEAVES, NOISE_LEAVES * noise)
    wanted = range_seen(samples)
    tinted = FreeCurve(places, outputs, np.ones(len(places)), noise).tinted
    exact = max(EXACT_CONTRAST, NOISE_LEAVES * seen.known_to)
    found: list[Loose] = []
    for fit in pairs_of_curves(places, outputs, ends, knowledge.targets, limit, samples.step):
        end, source = knowledge.targets[fit.target], ends[fit.group]
        toned = fit.model == "tone"
        stretch = max(limit, STEP_LEFT * samples.step * CODES) if toned else limit
        if fit.error > stretch or fit.share < (CURVE_TONE_SHARE if toned else CURVE_SHARE):
            continue
        if fit.model == "contrast" and not tinted and fit.error > exact:
            continue  # a tone curve, which a cubic only approximates
        cost = fit.cost + (OTHER_RANGE if wanted is not None and end.range != wanted else 0.0)
        if toned and not end.curve.curve.shown:
            cost += TONED_LOG
        curve = FreeCurve(source.decode(places), outputs, np.ones(len(places)), noise)
        hypothesis = hypothesis_of(source, fit, knowledge, curve, seen.grade, samples)
        if hypothesis is not None:
            found.append(Loose(hypothesis, noise, cost))
    return sorted(found, key=lambda each: each.cost)


@dataclass(frozen=True)
class _Follow:
    """What free fits are followed with; where the best leaves but `noise`, all its nodes weigh."""

    field: Field
    knowledge: Knowledge
    noise: bool

    def hypotheses(
        self, fit: CurveFit, pairs: int, likely: Sequence[int]
    ) -> tuple[list[Loose], Sequence[int]]:
        """Hypotheses of a free fit with so many pairs of gamuts; and the targets that come near.

        Targets are looked for among the `likely` and the source itself, and with a second pair
        of gamuts among those that come near with the first.
        """
        bank, source = self.knowledge.bank, self.field.ends[fit.source]
        errors = match_free(fit, bank)
        found: list[Loose] = []
        seen: set[tuple[str, str]] = set()
        best = np.inf
        own = (j for j, end in enumerate(self.knowledge.targets) if end.number == source.number)
        likely = sorted({*likely, *own})
        for index in [*best_first(errors)[: 4 * pairs].tolist(), 0]:
            if index and (errors[index] > 2 * best + 0.5 or len(seen) >= pairs):
                continue
            if not index and errors[0] > 2 * best + 0.5:
                continue
            pair = bank.pair(int(index))
            if (pair.source.name, pair.target.name) in seen:
                continue
            seen.add((pair.source.name, pair.target.name))
            field = self.field
            held = refitted(field.ground, field.samples, field.ends, fit, pair.matrix)
            if held.knots is None or not np.isfinite(held.error):
                continue
            best = min(best, held.error)
            more, targets = self._with_pair(held, pair, likely)
            found += more
            if len(seen) == 1:
                likely = _likely(targets, self.knowledge, source)
        return found, likely

    def _with_pair(
        self, held: CurveFit, pair: Pair, likely: Sequence[int]
    ) -> tuple[list[Loose], list[TargetFit]]:
        """Hypotheses of a fit whose matrix is that of a pair, and the targets that were found."""
        ground, samples = self.field.ground, self.field.samples
        source = self.field.ends[held.source]
        places, outputs, trust = held.free_curve(ground)
        curve = FreeCurve.of(source.decode(places), outputs, trust, held.typical)
        grade = grade_of(held.mixing)
        beside = Beside(source, pair, samples)
        targets = targets_of(curve, self.knowledge, beside, held.typical, likely)
        found = []
        for fit in targets[:TARGETS] or [NOTHING]:
            made = hypothesis_of(source, fit, self.knowledge, curve, grade, samples)
            if made is None:
                continue
            made = replace(made, pair=pair, compression=held.form.compression)
            if fit.model != "cdl" or _holds(made, ground, samples, held.typical):
                error = held.error / NOISE_OF_MEDIAN if self.noise else held.typical
                found.append(Loose(made, error, fit.cost))
        return found, targets


def _holds(hypothesis: Hypothesis, ground: CurveGround, samples: Samples, typical: float) -> bool:
    """Whether a hypothesis predicts the nodes of a free fit, and the neutral ones, about as well.

    A model that needs signal over 1 fits a curve that continues, not one that clips there.
    """
    off = hypothesis.apply(samples.axis[ground.axis_places]) - ground.outputs
    neutral = hypothesis.apply(np.repeat(ground.neutral_in[:, None], 3, axis=1)) - ground.neutral
    limit = (HOLDS * typical + HOLDS_CODES) / CODES
    return bool(
        np.median(np.abs(off)) <= limit
        and np.mean(np.abs(neutral).max(axis=1) <= limit) >= HOLDS_SHARE
    )


def _likely(fits: list[TargetFit], knowledge: Knowledge, source: End) -> list[int]:
    """Targets worth a trial with another pair of gamuts: the curve hardly changes with it."""
    near = {fit.target for fit in fits[:LIKELY]}
    return [
        j
        for j, end in enumerate(knowledge.targets)
        if j in near or end.number == source.number or end.curve.curve.shown
    ]
