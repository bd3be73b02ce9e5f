"""The search: from a LUT to ranked hypotheses, and to the answer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lutbench.identification.alike import with_alike
from lutbench.identification.claims import claims_of
from lutbench.identification.common import SIX_DECIMALS
from lutbench.identification.curvesonly import averaged, is_apart, only_mixes, search_curves
from lutbench.identification.hypothesis import Forecast, error_of, forecast
from lutbench.identification.knowledge import Knowledge, Pins, knowledge_of
from lutbench.identification.look import look_at, measured_look, view_for
from lutbench.identification.result import GUESS, Candidate, Confidence, Identification, Kind, Look
from lutbench.identification.samples import CODES, Samples, samples_of
from lutbench.identification.untold import guessed_curves, is_untold, plainest_first
from lutbench.identification.verdict import (
    Finalist,
    candidates_of,
    is_exact,
    kind_of,
    ranked,
)
from lutbench.identification.words import FAR_CODES, FAR_DELTA_E, explained
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.transforms import Transform

if TYPE_CHECKING:
    from lutbench.identification.forms.fitted import Fitted
    from lutbench.identification.measured import Measured

TOO_MUCH_LEFT = 10.0
"""Median ΔE 2000 above which the residual is too large for a look on a conversion."""

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
    few = samples if fitted is None else samples.few
    if fitted is None:
        order = ranked(search_curves(samples, knowledge))
    else:
        from lutbench.identification.forms.search import finalists_of, plain_finalists_of

        if plain := _exact(plain_finalists_of(fitted), samples, few, graded=False):
            return plain, []
        if only_named and _is_unnamed(fitted):
            return [], []
        built = _as_built([], samples, knowledge)
        if built:
            return built, built
        order = finalists_of(fitted)
    if plain := _exact(order, samples, few, graded=False):
        return plain, []
    if not order and _is_curve(samples, fitted is None):
        order = ranked(guessed_curves(few, knowledge))
    built = _as_built(order, samples, knowledge) if order and fitted else []
    # A whole description has the numbers of a grade that its maker gave.
    return built or _exact(order, samples, few, graded=True) or order, built


def _exact(
    order: list[Finalist], samples: Samples, few: Samples, *, graded: bool
) -> list[Finalist]:
    """Those whose names explain all to its rounding: no free tone curve has a place beside them."""
    exact = [each for each in order if is_exact(each, samples)]
    kept = [each for each in exact if graded or not each.hypothesis.grade]
    return ranked([replace(each, error=error_of(each.forecast, few)) for each in kept])


def _is_unnamed(fitted: Fitted) -> bool:
    from lutbench.identification.measuring import is_unnamed

    return is_unnamed(fitted)


def _is_curve(samples: Samples, apart: bool) -> bool:
    """Whether the channels only mix linearly after a curve on each."""
    return apart or only_mixes(samples)


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


def _as_built(order: list[Finalist], samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    from lutbench.identification.built.search import as_built

    return as_built(order, samples, knowledge)


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
