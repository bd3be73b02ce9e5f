"""From named ends to a whole description: the parts that leave a LUT nothing but its rounding.

Greys come first: they show exposure, tone and range without any gamut, and few of the many
combinations explain them to the file's rounding. Colours then tell the gamuts and the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lutbench.identification.built.ends import Ends
from lutbench.identification.built.fitting import Fitting
from lutbench.identification.built.solve import limit_of
from lutbench.identification.built.straight import straight_ends
from lutbench.identification.curvebank import End
from lutbench.identification.hypothesis import Forecast, Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.samples import Samples
from lutbench.identification.untold import shown_targets
from lutbench.tables.lut import Lut1D

STRAIGHT, SOURCES = 5, 3
"""Ends that greys point to, and sources of hypotheses, that are followed."""


def built(
    hypotheses: Sequence[Hypothesis],
    samples: Samples,
    knowledge: Knowledge,
    *,
    thorough: bool = False,
) -> Hypothesis | None:
    """The hypothesis whose description leaves nothing but rounding; None where none does.

    Looked for between the ends of the best of `hypotheses`, or with none between those that
    greys point to; `thorough` between both, also from the sources of the next ones, and to all
    that pictures are shown in.
    """
    if samples.one_d:
        return None
    fitting = Fitting(samples, knowledge)
    for ends in _ends(hypotheses, samples, knowledge, thorough):
        made = fitting.of(ends)
        if made is not None:
            return ends.hypothesis(made, knowledge.bank)
    return None


def is_rounding(told: Forecast, h: Hypothesis, samples: Samples) -> bool:
    """Whether a hypothesis of named parts leaves nothing but the rounding of the file."""
    named = isinstance(h.target, End) and not any(isinstance(each, Lut1D) for each in h.grade)
    return named and float(np.sqrt(np.mean(told.miss**2))) <= limit_of(samples)


def _ends(
    hypotheses: Sequence[Hypothesis], samples: Samples, knowledge: Knowledge, thorough: bool
) -> Iterator[Ends]:
    """Ends that greys point to, then sources of the best hypotheses to whatever is shown."""
    shown = shown_targets(samples, knowledge)
    seen: list[tuple[End, End]] = []
    pair = hypotheses[0].pair if hypotheses else knowledge.bank.pair(0)
    straight = STRAIGHT if thorough or not hypotheses else 0
    for source, target in straight_ends(samples, knowledge, shown, straight):
        seen.append((source, target))
        yield Ends(source, target, pair)
    sources: list[End] = []
    for h in hypotheses:
        if h.source in sources:
            continue
        sources.append(h.source)
        if len(sources) > (SOURCES if thorough else 1):
            return
        own = [] if h.target_end is None else [h.target_end]
        for target in [*own, *(shown if thorough else ())]:
            if (h.source, target) not in seen:
                seen.append((h.source, target))
                yield Ends(h.source, target, h.pair)
