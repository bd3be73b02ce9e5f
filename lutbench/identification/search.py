"""The search: from a LUT to ranked hypotheses, and to the answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.alike import with_alike
from lutbench.identification.claims import claims_of
from lutbench.identification.curvebank import End
from lutbench.identification.curvesonly import averaged, is_apart, only_mixes
from lutbench.identification.freecurve import cost_of
from lutbench.identification.hypothesis import Forecast, error_of, forecast
from lutbench.identification.knowledge import Knowledge, Pins, knowledge_of
from lutbench.identification.known import (
    FORECASTS,
    MOST_PAIRS,
    finalists_of,
    search_compressed,
    search_known,
    search_partly,
)
from lutbench.identification.look import measured_look
from lutbench.identification.neutral import NeutralMatch, match_neutral
from lutbench.identification.plausible import uncommonness
from lutbench.identification.result import Confidence, Identification, Kind, Look
from lutbench.identification.samples import CODES, SIX_DECIMALS, Samples, samples_of
from lutbench.identification.simpler import simpler
from lutbench.identification.trial import search_by_trial
from lutbench.identification.unknown import (
    Loose,
    fields_of,
    search_curves,
    search_free,
)
from lutbench.identification.untint import untinted_forms
from lutbench.identification.untold import guessed_curves, is_untold, plainest_first
from lutbench.identification.verdict import (
    EXACT,
    Finalist,
    candidates_of,
    explained_share,
    kind_of,
    ranked,
    usual_first,
)
from lutbench.identification.words import FAR_CODES, FAR_DELTA_E, explained
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Transform
from lutbench.tables.lut import Lut1D

NEUTRAL_WITHIN = 1.2
"""Codes: a pair of curves that misses the neutral axis by more is not followed up."""

NEUTRAL_EXACT = 0.9
"""Codes: a pair of curves that explains the neutral axis this well is taken to be in the LUT."""

WHOLE, SEEN_SHARE = 1.2, 0.05
"""Codes that rounding and noise of a code may leave, and the least share of nodes in gamut."""

POOR = 2.0
"""Codes: where the best leaves more, pairs of gamuts are tried one by one."""

NOISE_SHARE = 1.2
NO_BETTER = 0.9
AS_ALL, TABLE_LEAVES = 1.5, 0.04
"""With an error on all nodes up to this many times that of the fit, nothing is left over; and what
a tone curve known as a table leaves between its points, in codes.
"""

TINTED_FROM = 1.0
UNTINTED_EXACT = 0.8
TOO_MUCH_LEFT = 10.0
"""Median ΔE 2000 over which a remainder is no look on a conversion any more."""

EXPLAINED = 0.9
"""The share of the values that needs no other form to explain it."""

_default: list[Catalogue] = []


def identify(
    lut: Transform,
    *,
    catalogue: Catalogue | None = None,
    source_curve: str | None = None,
    source_gamut: str | None = None,
    source_range: str | None = None,
    target_curve: str | None = None,
    target_gamut: str | None = None,
    target_range: str | None = None,
) -> Identification:
    """What is inside a LUT: source and target curve, gamut and range, exposure, look.

    Parameters
    ----------
    lut
        A `Lut1D`, `Lut3D` or `ShaperLut3D`; any other transform is sampled over 0..1.
    catalogue
        The curves and gamuts to look among; by default those of `open_catalogue()`.
    source_curve, source_gamut, source_range, target_curve, target_gamut, target_range
        What is known already.

    Raises
    ------
    LutbenchError
        For a name that is not known, or a LUT whose output is constant.
    """
    if catalogue is None:
        if not _default:
            _default.append(open_catalogue())
        catalogue = _default[0]
    pins = Pins(
        source_curve,
        source_gamut,
        source_range,  # type: ignore[arg-type]
        target_curve,
        target_gamut,
        target_range,  # type: ignore[arg-type]
    )
    from threadpoolctl import threadpool_limits

    knowledge = knowledge_of(catalogue).pinned(pins, catalogue)
    samples = samples_of(lut)
    # Many small systems of equations: threads would cost more than they give.
    with threadpool_limits(limits=1, user_api="blas"):
        found = answer(samples, knowledge)
        claims = claims_of(lut, samples, found, knowledge_of(catalogue), catalogue)
    return replace(found, claims=claims)


def answer(samples: Samples, knowledge: Knowledge) -> Identification:
    """The identification of samples by what is known."""
    if _is_identity(samples):
        look = Look(False, 0.0, 0.0, 0.0)
        return explained(Identification("identity", "high", (), look, samples=samples))
    apart = samples.one_d or is_apart(samples)
    if apart and not samples.one_d:
        samples = averaged(samples)
    # Channels apart give each value to many nodes.
    few = samples if apart else samples.few
    match = match_neutral(samples, knowledge.sources, knowledge.targets)
    if apart:
        knowledge = replace(knowledge, bank=knowledge.bank.first)
    scored = search_known(
        samples, knowledge.sources, knowledge.targets, knowledge.bank, match, NEUTRAL_WITHIN
    )
    order = ranked(finalists_of(scored, few, knowledge))
    if not apart and not (order and _is_whole(order[0])):
        packed = search_compressed(
            samples, knowledge.sources, knowledge.targets, knowledge.bank, match, NEUTRAL_EXACT
        )
        order = ranked([*order, *finalists_of(packed, few, knowledge, GamutCompression())])
    whole = bool(order) and _is_whole(order[0])
    plain = whole or bool(order and order[0].error <= EXACT)
    known = [] if apart or plain else _as_built(order, samples, knowledge, straight=True)
    if known:
        order = known
    elif not plain:
        more = _curves(samples, knowledge) if apart else _with_more(samples, knowledge, match)
        order = ranked([*order, *more])
    if (
        not apart
        and not known
        and not (order and explained_share(order[0].forecast, few) >= EXPLAINED)
    ):
        from lutbench.identification.forms.search import in_other_forms

        order = in_other_forms(order, samples, knowledge)
    if not order:
        is_curve = apart or any(only_mixes(form) for form in [samples, *untinted_forms(samples)])
        order = ranked(guessed_curves(few, knowledge)) if is_curve else []
    if not order:
        look = measured_look(None, _unchanged(samples), samples)
        kind: Kind = "curve" if is_curve else "unknown"
        return explained(Identification(kind, "none", (), look, samples=samples))
    if not (apart or whole or known):
        known = _as_built(order, samples, knowledge)
    untold = not known and is_untold(order)
    if known:
        order = known
    else:
        order = usual_first(order, few)
        if untold:
            order = plainest_first(order, few)
        order = [simpler(order[0], few), *order[1:]]
    best = order[0]
    candidates = tuple(
        with_alike(each, error, samples, knowledge, untold=untold and not i)
        for i, (each, error) in enumerate(candidates_of(order, few))
    )
    clean = forecast(best.hypothesis.without_grade(), samples)
    look = measured_look(best.hypothesis, clean, samples)
    level = candidates[0].confidence
    if not known:
        level = _held(level, look, clean.median)
    if "source curve" in candidates[0].not_told and level != "none":
        level = "low"
    first = replace(candidates[0], confidence=level)
    if len(known) > 1:
        first = replace(first, confidence="medium", not_told=(*first.not_told, "target curve"))
    measured = None
    if not apart:
        from lutbench.identification.certainty import with_certainty

        first, measured = with_certainty(first, best, samples, knowledge)
    return explained(
        Identification(
            kind_of(best.hypothesis),
            first.confidence,
            (first, *candidates[1:]),
            look,
            measured=measured,
            samples=samples,
            forecast=clean,
        )
    )


def _as_built(
    order: list[Finalist], samples: Samples, knowledge: Knowledge, *, straight: bool = False
) -> list[Finalist]:
    from lutbench.identification.built.search import as_built

    return as_built(order, samples, knowledge, straight=straight)


def _held(level: Confidence, look: Look, median: float) -> Confidence:
    """The confidence that a look leaves: an answer with much left over is never a sure one.

    Where `median` codes are left too, and too many, no candidate explains the LUT.
    """
    if median > FAR_CODES and look.median > FAR_DELTA_E:
        return "none"
    if not look.present:
        return level
    if look.median > TOO_MUCH_LEFT or level == "low":
        return "low"
    return "medium"


def _with_more(samples: Samples, knowledge: Knowledge, match: NeutralMatch) -> list[Finalist]:
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
    found += _worked_out(loose, samples.few, found)
    if not found or ranked(found)[0].error > POOR:
        tried = search_by_trial(
            samples, knowledge.sources, knowledge.targets, knowledge.bank, match, NEUTRAL_EXACT
        )
        found += finalists_of(tried, samples.few, knowledge)
    return found


def _untinted(samples: Samples, forms: Sequence[Samples], knowledge: Knowledge) -> list[Finalist]:
    """Finalists of known curves that explain the LUT without its tint; none where none does.

    A tint that goes with luma, taken out, may leave a plain conversion.
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

    Mixing the channels leaves neutrals alone, and the axis tells them better than a fit.
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


def _worked_out(
    loose: list[Loose], samples: Samples, found: Sequence[Finalist] = ()
) -> list[Finalist]:
    """Finalists of free fits, whose errors are those of the nodes that were fitted.

    Where one foretells the LUT no better than what was found with known curves
    alone, its error on all nodes counts, as theirs does. So do those of all where
    one of them, without a grade, foretells all nodes about as well as those that were
    fitted.
    """
    best = min((each.error for each in found), default=np.inf)
    order = sorted(loose, key=lambda each: each.cost + uncommonness(each.hypothesis))
    worked = [(each, forecast(each.hypothesis, samples)) for each in order[:FORECASTS]]
    wholes = [error_of(told, samples) for _, told in worked]
    explained = any(
        whole <= AS_ALL * each.error + TABLE_LEAVES and not each.hypothesis.grade
        for (each, _), whole in zip(worked, wholes, strict=True)
    )
    return [
        Finalist(
            each.hypothesis,
            told,
            max(each.error, whole) if explained or whole > NO_BETTER * best else each.error,
            each.curve_cost,
        )
        for (each, told), whole in zip(worked, wholes, strict=True)
    ]


def _curves(samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists for channels that do not act on each other."""
    return _worked_out(search_curves(samples, knowledge), samples)


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
    told = forecast(hypothesis, samples)
    error = error_of(told, samples)
    if error >= 0.5 * finalist.error:
        return finalist
    return Finalist(hypothesis, told, error, finalist.curve_cost)


def _is_whole(finalist: Finalist) -> bool:
    """Whether it explains all of the nodes in gamut, but for rounding and noise."""
    told = finalist.forecast
    return told.p95 <= WHOLE and float(told.inside.mean()) >= SEEN_SHARE


def _is_identity(samples: Samples) -> bool:
    miss = samples.nodes - samples.table if not samples.one_d else 0.0
    neutral = samples.neutral - samples.neutral_in[:, None]
    limit = max(1.5 / CODES, SIX_DECIMALS)
    return bool(np.abs(miss).max() <= limit and np.abs(neutral).max() <= limit)


def _unchanged(samples: Samples) -> Forecast:
    values = samples.held(samples.nodes)
    return Forecast(
        values, (values - samples.table) * CODES, np.ones(values.shape[:-1], dtype=bool)
    )
