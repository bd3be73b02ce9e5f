"""From named ends to a whole description that fits a LUT to its rounding.

Greys come first: they show exposure, tone and range without any gamut, and few of the many
combinations explain them to the file's rounding. Colours then show the gamuts and the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.identification.built.ends import Between
from lutbench.identification.built.fitting import Fitting
from lutbench.identification.built.nodes import GivenUp
from lutbench.identification.built.shown import mapped_ends
from lutbench.identification.built.solve import limit_of
from lutbench.identification.built.straight import hlg_ends, straight_ends
from lutbench.identification.curvebank import End
from lutbench.identification.hypothesis import Forecast, Hypothesis, error_of, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.samples import Samples
from lutbench.identification.untold import shown_targets
from lutbench.identification.verdict import Finalist
from lutbench.model.grade import Cdl
from lutbench.model.tone import ToneMapper
from lutbench.tables.lut import Lut1D

SHORTER = 3
"""Digits by which a description must be shorter than others to be the only answer."""

STRAIGHT, MAPPED, SOURCES = 5, 3, 3
"""Pairs of ends that a straight stretch of greys suggests, those that a mapper of display light
suggests, and sources of hypotheses, that are tried.
"""


@dataclass(frozen=True)
class Built:
    """The hypothesis of the shortest description, and those that take about as many digits."""

    hypothesis: Hypothesis
    rivals: tuple[Hypothesis, ...] = ()


def built(
    hypotheses: Sequence[Hypothesis],
    samples: Samples,
    knowledge: Knowledge,
    *,
    thorough: bool = False,
) -> Built | None:
    """The hypothesis whose description fits to rounding; None where none does.

    The ends are those of the best of `hypotheses`, or without any those that greys suggest;
    with `thorough` both, also the sources of the next hypotheses, and all display curves.
    Behind a tone or a grade one power curve can replace another, so once a source has a
    description, all targets are tried and the shortest description is used. A search
    that takes too long is abandoned.
    """
    if samples.one_d:
        return None
    try:
        return _shortest(hypotheses, Fitting(samples, knowledge, thorough), samples, knowledge)
    except GivenUp:
        return None


def _shortest(
    hypotheses: Sequence[Hypothesis], fitting: Fitting, samples: Samples, knowledge: Knowledge
) -> Built | None:
    """The shortest description between the first ends that have one."""
    tried: list[tuple[End, End]] = []
    for ends, mapper in _ends(hypotheses, samples, knowledge, fitting):
        tried.append((ends.source, ends.target))
        made = fitting.of(ends, straight=not hypotheses, mapper=mapper)
        if made is None:
            continue
        found = [(made.length, ends.hypothesis(made.made, knowledge.bank))]
        pair = found[0][1].pair
        bends = mapper is None and (made.made.tone is not None or made.graded)
        for target in shown_targets(samples, knowledge) if bends else ():
            if target != ends.target and (ends.source, target) not in tried:
                other = Between(ends.source, target, pair)
                also = fitting.of(other, straight=made.made.tone is not None, like=made)
                if also is not None:
                    found.append((also.length, other.hypothesis(also.made, knowledge.bank)))
        found.sort(key=lambda each: each[0])
        near = [h for length, h in found[1:] if length < found[0][0] + SHORTER]
        return Built(found[0][1], tuple(near))
    return None


def is_rounding(predicted: Forecast, h: Hypothesis, samples: Samples) -> bool:
    """Whether a hypothesis of named parts fits to the rounding of the file."""
    named = isinstance(h.target, End) and not any(isinstance(each, Lut1D) for each in h.grade)
    return named and float(np.sqrt(np.mean(predicted.miss**2))) <= limit_of(samples)


def _ends(
    hypotheses: Sequence[Hypothesis], samples: Samples, knowledge: Knowledge, fitting: Fitting
) -> Iterator[tuple[Between, ToneMapper | None]]:
    """Ends that greys suggest, then sources of the best hypotheses with display curves.

    Some with the mapper of display light that suggests them.
    """
    shown = shown_targets(samples, knowledge)
    seen: list[tuple[End, End]] = []
    pair = hypotheses[0].pair if hypotheses else knowledge.bank.pair(0)
    if fitting.thorough or not hypotheses:
        for each in (
            [] if fitting.tinted else mapped_ends(samples, knowledge.sources, shown, MAPPED)
        ):
            yield Between(each.source, each.target, pair), each.mapper
        hlg = hlg_ends(samples, shown, knowledge)[:STRAIGHT]
        for source, target in [*hlg, *straight_ends(samples, knowledge, shown, STRAIGHT)]:
            seen.append((source, target))
            yield Between(source, target, pair), None
    firsts: list[Hypothesis] = []
    for h in hypotheses:
        if all(h.source != each.source for each in firsts):
            firsts.append(h)
    del firsts[SOURCES if fitting.thorough else 1 :]
    own = [(h, h.target_end) for h in firsts if h.target_end is not None]
    others = [(h, target) for h in firsts for target in (shown if fitting.thorough else ())]
    for h, target in (*own, *others):
        if (h.source, target) not in seen:
            seen.append((h.source, target))
            cdl = next((step for step in h.grade if isinstance(step, Cdl)), None)
            yield Between(h.source, target, h.pair, cdl), None


def as_built(order: Sequence[Finalist], samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """The whole description with its parameters, where there is one.

    Between the ends of the best of the order, or without any those that a straight stretch of
    greys suggests. Other descriptions of about the same length come after it.
    """
    found = built([each.hypothesis for each in order], samples, knowledge)
    if found is None:
        return []
    tried = [(h, forecast(h, samples.few)) for h in (found.hypothesis, *found.rivals)]
    return [Finalist(h, each, error_of(each, samples.few)) for h, each in tried]
