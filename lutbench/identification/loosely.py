"""Finalists with a look, a tone curve, or a compressed gamut: where names explain too little."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.freecurve import cost_of
from lutbench.identification.hypothesis import error_of, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.known import (
    FORECASTS,
    MOST_PAIRS,
    finalists_of,
    search_compressed,
    search_partly,
)
from lutbench.identification.neutral import NEUTRAL_EXACT, NeutralMatch, match_neutral
from lutbench.identification.plausible import uncommonness
from lutbench.identification.samples import Samples
from lutbench.identification.trial import search_by_trial
from lutbench.identification.unknown import Loose, fields_of, search_curves, search_free
from lutbench.identification.untint import untinted_forms
from lutbench.identification.verdict import EXACT, Finalist, ranked
from lutbench.model.compression import GamutCompression
from lutbench.model.grade import Cdl
from lutbench.tables.lut import Lut1D

POOR = 2.0
"""10-bit codes of error above which pairs of gamuts are tried one by one."""

NOISE_SHARE = 1.2
"""Times the noise up to which an error ends the search for a tint."""

NO_BETTER = 0.9
"""Times the best error of known curves above which a free fit is no better than they are."""

AS_ALL = 1.5
"""Times the error of a fit up to which its error on all nodes counts as the same."""

TABLE_LEAVES = 0.04
"""10-bit codes of error between the points of a tabulated tone curve."""

TINTED_FROM = 1.0
"""10-bit codes of error above which the LUT is also searched without its tint."""

UNTINTED_EXACT = 0.8
"""10-bit codes of error up to which known curves explain a LUT without its tint."""


def with_more(samples: Samples, knowledge: Knowledge, match: NeutralMatch) -> list[Finalist]:
    """Finalists with a look, a tone curve, or a compressed gamut."""
    found = _partly(samples, samples, knowledge, match)
    if found and min(each.error for each in found) <= EXACT:
        return found
    forms = untinted_forms(samples)
    plain = _untinted(samples, forms, knowledge)
    if plain:
        return [*found, *plain]
    places = match.shortlist(NEUTRAL_EXACT, MOST_PAIRS)
    sources = sorted({i for i, _ in places}) or None
    loose: list[Loose] = []
    for field in fields_of([samples, *forms], knowledge, sources):
        loose = sorted([*loose, *search_free(field, knowledge)], key=lambda each: each.cost)
        if loose and loose[0].error <= TINTED_FROM:
            break
    loose = [_on_the_axis(each, samples, knowledge, match) for each in loose]
    found += _finalists_from(loose, samples.few, found)
    if not found or ranked(found)[0].error > POOR:
        tried = search_by_trial(
            samples, knowledge.sources, knowledge.targets, knowledge.bank, match, NEUTRAL_EXACT
        )
        found += finalists_of(tried, samples.few, knowledge)
    return found


def _untinted(samples: Samples, forms: Sequence[Samples], knowledge: Knowledge) -> list[Finalist]:
    """Finalists of known curves that explain the LUT without its tint; none where none does.

    Without a tint that depends on luma, a plain conversion may remain.
    """
    matches = [match_neutral(form, knowledge.sources, knowledge.targets) for form in forms]
    order = sorted(zip(matches, forms, strict=True), key=lambda each: float(each[0].error.min()))
    best: list[Finalist] = []
    error = UNTINTED_EXACT
    for match, form in order:
        if match.error.min() > NEUTRAL_EXACT:
            break
        found = _partly(samples, form, knowledge, match)
        least = min((each.error for each in found), default=np.inf)
        if least <= error:
            best, error = found, least
        if error <= NOISE_SHARE * samples.noise:
            break
    return best


def _on_the_axis(
    loose: Loose, samples: Samples, knowledge: Knowledge, match: NeutralMatch
) -> Loose:
    """The hypothesis with its exposure from the neutral axis, where no curve follows the target.

    Mixing the channels does not change neutrals, and the axis is more accurate than a fit.
    """
    h = loose.hypothesis
    if not isinstance(h.target, End) or any(isinstance(each, Cdl | Lut1D) for each in h.grade):
        return loose
    at = knowledge.sources.index(h.source), knowledge.targets.index(h.target)
    neutral = float(match.error[at])
    if neutral > NEUTRAL_EXACT:
        return loose
    excess = np.sqrt(max(neutral**2 - samples.noise**2, 0.0))
    stops = float(match.stops[at].mean())
    cost = float(cost_of(np.array(excess), 1))
    return replace(loose, hypothesis=replace(h, stops=stops), curve_cost=cost)


def _finalists_from(
    loose: list[Loose], samples: Samples, found: Sequence[Finalist] = ()
) -> list[Finalist]:
    """Finalists of free fits, whose errors are those of the nodes that were fitted.

    Where one predicts the LUT no better than known curves alone, its error on all nodes
    counts, as theirs does. The errors on all nodes also count for all of them, if one
    without a grade predicts all nodes about as well as the fitted ones.
    """
    best = min((each.error for each in found), default=np.inf)
    order = sorted(loose, key=lambda each: each.cost + uncommonness(each.hypothesis))
    worked = [(each, forecast(each.hypothesis, samples)) for each in order[:FORECASTS]]
    wholes = [error_of(predicted, samples) for _, predicted in worked]
    explained = any(
        whole <= AS_ALL * each.error + TABLE_LEAVES and not each.hypothesis.grade
        for (each, _), whole in zip(worked, wholes, strict=True)
    )
    return [
        Finalist(
            each.hypothesis,
            predicted,
            max(each.error, whole) if explained or whole > NO_BETTER * best else each.error,
            each.curve_cost,
        )
        for (each, predicted), whole in zip(worked, wholes, strict=True)
    ]


def curves_alone(samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists for channels that do not affect each other."""
    return _finalists_from(search_curves(samples, knowledge), samples)


def _partly(
    samples: Samples, plain: Samples, knowledge: Knowledge, match: NeutralMatch
) -> list[Finalist]:
    """Finalists of known curves that explain a part of `plain`, or all of it exactly."""
    places = match.shortlist(NEUTRAL_EXACT, MOST_PAIRS)
    scored = search_partly(
        plain, knowledge.sources, knowledge.targets, knowledge.bank, match, places
    )
    found = finalists_of(scored, plain.few, knowledge)
    if plain is samples:
        return [_compressed(each, plain.few) for each in found]
    packed = search_compressed(
        plain, knowledge.sources, knowledge.targets, knowledge.bank, match, NEUTRAL_EXACT
    )
    found += finalists_of(packed, plain.few, knowledge, GamutCompression())
    return [replace(each, forecast=forecast(each.hypothesis, samples.few)) for each in found]


def _compressed(finalist: Finalist, samples: Samples) -> Finalist:
    """The finalist with the reference gamut compression, where that explains more."""
    if finalist.hypothesis.pair.alike:
        return finalist
    hypothesis = replace(finalist.hypothesis, compression=GamutCompression())
    predicted = forecast(hypothesis, samples)
    error = error_of(predicted, samples)
    if error >= 0.5 * finalist.error:
        return finalist
    return Finalist(hypothesis, predicted, error, finalist.curve_cost)
