"""The search: from a LUT to ranked hypotheses, and to the answer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lutbench.identification.alike import with_alike
from lutbench.identification.claims import claims_of
from lutbench.identification.common import EXACT, SIX_DECIMALS
from lutbench.identification.curvesonly import averaged, is_apart, only_mixes, search_curves
from lutbench.identification.hypothesis import Forecast, forecast
from lutbench.identification.knowledge import Knowledge, Pins, knowledge_of
from lutbench.identification.known import MOST_PAIRS, finalists_of, search_known, search_partly
from lutbench.identification.look import look_at, measured_look, view_for
from lutbench.identification.neutral import NEUTRAL_EXACT, NeutralMatch, match_neutral
from lutbench.identification.result import GUESS, Candidate, Confidence, Identification, Kind, Look
from lutbench.identification.samples import CODES, Samples, samples_of
from lutbench.identification.untint import untinted_forms
from lutbench.identification.untold import guessed_curves, is_untold, plainest_first
from lutbench.identification.verdict import (
    Finalist,
    candidates_of,
    explained_share,
    kind_of,
    ranked,
)
from lutbench.identification.words import FAR_CODES, FAR_DELTA_E, explained
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.transforms import Transform

if TYPE_CHECKING:
    from lutbench.identification.forms.fitted import Fitted
    from lutbench.identification.measured import Measured

NEUTRAL_WITHIN = 1.2
"""10-bit codes of error on the neutral axis above which a pair of curves is dropped."""

WHOLE = 1.2
"""10-bit codes, 95th percentile, that rounding and noise of a code may cause."""

SEEN_SHARE = 0.05
"""The least share of nodes in gamut on which an answer counts as complete."""

TOO_MUCH_LEFT = 10.0
"""Median ΔE 2000 above which the residual is too large for a look on a conversion."""

UNTINTED_EXACT = 0.8
"""10-bit codes of error up to which known curves explain a LUT without its tint."""

EXPLAINED = 0.9
"""The share of explained values from which no other form is tried."""

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
        The candidate curves and gamuts; by default those of `open_catalogue()`.
    source_curve, source_gamut, source_range, target_curve, target_gamut, target_range
        What is known already.

    Raises
    ------
    LutbenchError
        For a name that is not known, or a LUT whose output is constant.
    """
    catalogue = catalogue or _default_catalogue()
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


def explanation(
    lut: Transform, median: float, p95: float, source_curve: str | None = None
) -> Identification | None:
    """The identification of a LUT whose best names are off by less than these codes.

    None for others, of which `identify` would go on to measure what has no name, and where it is
    plain that neither its curve nor its gamuts have one.
    """
    from threadpoolctl import threadpool_limits

    catalogue = _default_catalogue()
    knowledge = knowledge_of(catalogue).pinned(Pins(source_curve), catalogue)
    samples = samples_of(lut)
    with threadpool_limits(limits=1, user_api="blas"):
        found = _found(samples, knowledge, only_named=True)
        best = found.order[0].forecast if found.order else None
        if best is None or best.median >= median or best.p95 >= p95:
            return None
        return _answered(found)


def _default_catalogue() -> Catalogue:
    if not _default:
        _default.append(open_catalogue())
    return _default[0]


class _Found(NamedTuple):
    """Finalists, best first, of samples among what is known.

    `built` are those of whole descriptions, where there are any. Where channels are apart
    nothing is `fitted` to colours.
    """

    order: list[Finalist]
    built: list[Finalist]
    samples: Samples
    knowledge: Knowledge
    fitted: Fitted | None


def answer(samples: Samples, knowledge: Knowledge) -> Identification:
    """The identification of samples among known curves and gamuts."""
    if _is_identity(samples):
        look = Look(False, 0.0, 0.0, 0.0)
        return explained(Identification("identity", "high", (), look, samples=samples))
    return _answered(_found(samples, knowledge))


def _found(samples: Samples, knowledge: Knowledge, *, only_named: bool = False) -> _Found:
    apart = samples.one_d or is_apart(samples)
    if apart:
        # Each channel is separate: the gamut is not converted.
        samples = samples if samples.one_d else averaged(samples)
        knowledge = replace(knowledge, bank=knowledge.bank.first)
    fitted = None if apart else _fitted(samples, knowledge)
    found = _finalists(samples, knowledge, fitted, only_named=only_named)
    return _Found(*found, samples, knowledge, fitted)


def _fitted(samples: Samples, knowledge: Knowledge) -> Fitted:
    from lutbench.identification.forms.fitted import Fitted

    return Fitted(samples, knowledge)


def _finalists(
    samples: Samples, knowledge: Knowledge, fitted: Fitted | None, *, only_named: bool
) -> tuple[list[Finalist], list[Finalist]]:
    """The order and the built ones of `_Found`; with `only_named` none where nothing has a name."""
    apart = fitted is None
    # Channels apart give each value to many nodes.
    few = samples if apart else samples.few
    ends = knowledge.sources, knowledge.targets, knowledge.bank
    match = match_neutral(samples, *ends[:2])
    order = ranked(
        finalists_of(search_known(samples, *ends, match, NEUTRAL_WITHIN), few, knowledge)
    )
    whole = bool(order) and _is_whole(order[0])
    plain = whole or bool(order and order[0].error <= EXACT)
    if only_named and fitted and not plain and _is_unnamed(fitted):
        return [], []
    built = [] if apart or plain else _as_built(order, samples, knowledge, straight=True)
    if built:
        return built, built
    if not plain:
        more = search_curves(samples, knowledge) if apart else _of_parts(samples, knowledge, match)
        order = ranked([*order, *more])
    if fitted and not (order and explained_share(order[0].forecast, few) >= EXPLAINED):
        from lutbench.identification.forms.search import in_other_forms

        order = in_other_forms(order, fitted)
    if not order and _is_curve(samples, apart):
        order = ranked(guessed_curves(few, knowledge))
    if order and not (apart or whole):
        built = _as_built(order, samples, knowledge)
    return built or order, built


def _is_unnamed(fitted: Fitted) -> bool:
    from lutbench.identification.measuring import is_unnamed

    return is_unnamed(fitted)


def _of_parts(samples: Samples, knowledge: Knowledge, match: NeutralMatch) -> list[Finalist]:
    """Finalists of known curves and gamuts that explain a part of the nodes exactly.

    Without a tint that depends on luma, a plain conversion may remain.
    """
    ends = knowledge.sources, knowledge.targets, knowledge.bank

    def parts(form: Samples, match: NeutralMatch) -> list[Finalist]:
        places = match.shortlist(NEUTRAL_EXACT, MOST_PAIRS)
        return finalists_of(search_partly(form, *ends, match, places), form.few, knowledge)

    found = parts(samples, match)
    for form in untinted_forms(samples):
        found += [
            replace(each, forecast=forecast(each.hypothesis, samples.few))
            for each in parts(form, match_neutral(form, *ends[:2]))
            if each.error <= UNTINTED_EXACT
        ]
    return found


def _is_curve(samples: Samples, apart: bool) -> bool:
    """Whether the channels only mix linearly after a curve on each."""
    return apart or any(only_mixes(form) for form in [samples, *untinted_forms(samples)])


def _answered(found: _Found) -> Identification:
    """The answer from finalists."""
    order, built, samples, knowledge, fitted = found
    if not order:
        look = measured_look(None, _unchanged(samples), samples)
        kind: Kind = "curve" if _is_curve(samples, fitted is None) else "unknown"
        return explained(Identification(kind, "none", (), look, samples=samples))
    few = samples if fitted is None else samples.few
    untold = not built and is_untold(order)
    if untold:
        order = plainest_first(order, few)
    best = order[0]
    candidates = tuple(
        with_alike(each, error, samples, knowledge, untold=untold and not i)
        for i, (each, error) in enumerate(candidates_of(order, few))
    )
    clean = forecast(best.hypothesis.without_grade(), samples)
    look = measured_look(best.hypothesis, clean, samples)
    level = candidates[0].confidence
    if not built:
        level = _lowered(level, look, clean.median)
    if "source curve" in candidates[0].hidden and level != "none":
        level = "low"
    first = replace(candidates[0], confidence=level)
    if len(built) > 1:
        first = replace(first, confidence="medium", hidden=(*first.hidden, "target curve"))
    measured = beside = None
    if fitted is not None:
        from lutbench.identification.certainty import with_certainty

        first, measured = with_certainty(first, best, fitted)
        beside = _look_of_measured(first, measured)
    kind = kind_of(best.hypothesis)
    if kind == "curve" and first.confidence == "none" and not _is_curve(samples, fitted is None):
        kind = "unknown"
    return explained(
        Identification(
            kind,
            first.confidence,
            (first.weighed(), *candidates[1:]),
            beside or look,
            measured=measured,
            samples=samples,
            forecast=None if beside else clean,
        )
    )


def _look_of_measured(first: Candidate, measured: Measured | None) -> Look | None:
    """The look beside measured primaries; None where a pair of gamuts is named.

    Beside the nearest pair all that is wrong with it would count as a look.
    """
    told = first.probabilities.get("source gamut", 1.0) > GUESS
    if told or measured is None or measured.gamut is None or measured.nodes is None:
        return None
    return look_at(*measured.nodes, view_for(first.hypothesis))


def _as_built(
    order: list[Finalist], samples: Samples, knowledge: Knowledge, *, straight: bool = False
) -> list[Finalist]:
    from lutbench.identification.built.search import as_built

    return as_built(order, samples, knowledge, straight=straight)


def _lowered(level: Confidence, look: Look, median: float) -> Confidence:
    """The confidence, lowered for a look: an answer with a large residual is never certain.

    Where the `median` error in codes is large as well, no candidate explains the LUT.
    """
    if median > FAR_CODES and look.median > FAR_DELTA_E:
        return "none"
    if not look.present:
        return level
    if look.median > TOO_MUCH_LEFT or level == "low":
        return "low"
    return "medium"


def _is_whole(finalist: Finalist) -> bool:
    """Whether it explains all nodes in gamut to within rounding and noise."""
    predicted = finalist.forecast
    return predicted.p95 <= WHOLE and float(predicted.inside.mean()) >= SEEN_SHARE


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
