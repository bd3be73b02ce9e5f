"""The search: from a LUT to ranked hypotheses, and to the answer."""

from __future__ import annotations

import numpy as np

from lutbench.analysis.identify.hypothesis import Forecast, Hypothesis, forecast
from lutbench.analysis.identify.knowledge import Knowledge, Pins, knowledge_of
from lutbench.analysis.identify.known import Scored, search_known
from lutbench.analysis.identify.look import measured_look
from lutbench.analysis.identify.neutral import match_neutral
from lutbench.analysis.identify.result import Identification, Look
from lutbench.analysis.identify.samples import CODES, SIX_DECIMALS, Samples, samples_of
from lutbench.analysis.identify.verdict import (
    EXACT,
    Finalist,
    candidates_of,
    kind_of,
    ranked,
)
from lutbench.analysis.identify.words import explained
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.transforms import Transform

NEUTRAL_WITHIN = 1.2
"""Codes: a pair of curves that misses the neutral axis by more is not followed up."""

FORECASTS = 10
"""Hypotheses that are worked out on every node."""

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
    knowledge = knowledge_of(catalogue).pinned(pins, catalogue)
    return answer(samples_of(lut), knowledge)


def answer(samples: Samples, knowledge: Knowledge) -> Identification:
    """The identification of samples by what is known."""
    if _is_identity(samples):
        look = Look(False, 0.0, 0.0, 0.0)
        return explained(Identification("identity", "high", (), look, samples=samples))
    match = match_neutral(samples, knowledge.sources, knowledge.targets)
    scored = search_known(
        samples, knowledge.sources, knowledge.targets, knowledge.bank, match, NEUTRAL_WITHIN
    )
    order = ranked(_finalists(scored, samples, knowledge))
    if not order or order[0].error > 3 * EXACT:
        look = measured_look(None, _unchanged(samples), samples)
        return explained(Identification("unknown", "none", (), look, samples=samples))
    best = order[0]
    candidates = candidates_of(order, samples)
    clean = (
        forecast(best.hypothesis.without_grade(), samples)
        if best.hypothesis.grade
        else best.forecast
    )
    return explained(
        Identification(
            kind_of(best.hypothesis),
            candidates[0].confidence,
            candidates,
            measured_look(best.hypothesis, clean, samples),
            samples=samples,
            forecast=clean,
        )
    )


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


def _finalists(scored: list[Scored], samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    finalists: list[Finalist] = []
    seen: set[tuple[object, ...]] = set()
    for each in scored:
        pair = knowledge.bank.pair(each.pair)
        names = (None, None) if pair.alike else (pair.source.name, pair.target.name)
        key = (each.source, each.target, *names)
        if key in seen:
            continue
        seen.add(key)
        hypothesis = Hypothesis(
            knowledge.sources[each.source],
            knowledge.targets[each.target],
            pair,
            float(np.log2(each.gain)),
        )
        told = forecast(hypothesis, samples)
        error = told.rms
        if finalists:
            counted = finalists[0].forecast.counted
            error = float(np.sqrt(np.mean(told.miss[counted] ** 2)))
        finalists.append(Finalist(hypothesis, told, error))
        if len(finalists) >= FORECASTS:
            break
    return finalists
