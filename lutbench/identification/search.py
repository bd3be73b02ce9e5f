"""The search: from a LUT to ranked hypotheses, and to the answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lutbench.identification.alike import with_alike
from lutbench.identification.certainty import with_certainty
from lutbench.identification.claims import claims_of
from lutbench.identification.curves import averaged, curves_alone, is_apart
from lutbench.identification.forms.search import search_forms
from lutbench.identification.hypothesis import Forecast, forecast
from lutbench.identification.knowledge import Knowledge, Pins, knowledge_of
from lutbench.identification.look import measured_look
from lutbench.identification.result import Confidence, Identification, Kind, Look
from lutbench.identification.samples import CODES, SIX_DECIMALS, Samples, samples_of
from lutbench.identification.simpler import simpler
from lutbench.identification.untold import is_untold, plainest_first
from lutbench.identification.verdict import candidates_of, kind_of, usual_first
from lutbench.identification.words import FAR_CODES, FAR_DELTA_E, explained
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.transforms import Transform

TOO_MUCH_LEFT = 10.0
"""Median ΔE 2000 over which a remainder is no look on a conversion any more."""

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
    if apart:
        samples = samples if samples.one_d else averaged(samples)
        knowledge = replace(knowledge, bank=knowledge.bank.first)
    # Channels apart give each value to many nodes.
    few = samples if apart else samples.few
    order = curves_alone(samples, knowledge) if apart else search_forms(samples, knowledge)
    if not order:
        look = measured_look(None, _unchanged(samples), samples)
        kind: Kind = "curve" if apart else "unknown"
        return explained(Identification(kind, "none", (), look, samples=samples))
    order = usual_first(order, few)
    untold = is_untold(order)
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
    level = _held(candidates[0].confidence, look, clean.median)
    if "source curve" in candidates[0].not_told and level != "none":
        level = "low"
    first = replace(candidates[0], confidence=level)
    measured = None
    if not apart:
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


def _held(level: Confidence, look: Look, median: float) -> Confidence:
    """The confidence that a look leaves: an answer with much left over is never a sure one."""
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
