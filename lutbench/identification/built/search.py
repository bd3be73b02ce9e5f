"""From named ends to a whole description: the parts that leave a LUT nothing but its rounding.

Greys come first: they show exposure, tone and range without any gamut, and few of the many
combinations explain them to the file's rounding. Colours then tell the gamuts and the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.built.parts import (
    COMPRESSION,
    EXPOSURE,
    MAPPING,
    WHITE_BALANCE,
    Part,
    cdl,
    saturation,
    tone,
    tones,
)
from lutbench.identification.built.solve import (
    ROUNDING_CODES,
    Nodes,
    Solved,
    error_of,
    limit_of,
    plainer,
    put,
    solved,
)
from lutbench.identification.built.straight import straight_ends
from lutbench.identification.curvebank import End
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.hypothesis import Forecast, Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.samples import Samples
from lutbench.identification.untold import shown_targets
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.gamuts import BT709
from lutbench.model.tone.carrier import CARRIERS
from lutbench.tables.lut import Lut1D

STRAIGHT, SOURCES, PAIRS = 5, 3, 3
"""Ends that greys point to, sources of hypotheses, and pairs of gamuts, that are followed."""

GLANCED, FITTED = 100, 400
"""Nodes that tell pairs of gamuts apart, and that numbers are fitted on."""


@dataclass(frozen=True)
class Ends:
    """A source and a target, each with its range, and the pair of gamuts that is likely."""

    source: End
    target: End
    pair: Pair

    def hypothesis(self, made: Conversion, bank: GamutBank) -> Hypothesis:
        """The hypothesis of a description between these ends."""
        pair = bank.pair(0)
        if made.kind != "curve":
            names = made.source.gamut, made.target.gamut, made.adaptation
            every = (bank.pair(index) for index in range(len(bank)))
            pair = next(
                each
                for each in every
                if (each.source.gamut, each.target.gamut, each.adaptation) == names
                and not each.published
            )
        grade = made.grade if made.grade_place == "after" else ()
        return Hypothesis(
            self.source, self.target, pair, made.exposure, made.compression, grade, built=made
        )

    def task(self, pair: Pair | None = None) -> Conversion | None:
        """The plain conversion; None where the two ends do not go together."""
        pair = self.pair if pair is None else pair
        if pair.source.gamut is None or pair.target.gamut is None or pair.published:
            return None
        gamuts = (BT709, BT709) if pair.alike else (pair.source.gamut, pair.target.gamut)
        source, target = (
            Encoding(end.curve.curve, gamut, end.range)
            for end, gamut in zip((self.source, self.target), gamuts, strict=True)
        )
        try:
            if pair.alike:
                return Conversion(source, target, "curve")
            return Conversion(source, target, adaptation=pair.adaptation)
        except LutbenchError:
            return None


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
    search = Search(samples, knowledge)
    for ends in _ends(hypotheses, samples, knowledge, thorough):
        found = search.of(ends)
        if found is not None:
            return ends.hypothesis(found.made, knowledge.bank)
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


class Search:
    """The nodes of a LUT, and what leaves nothing but its rounding on them."""

    def __init__(self, samples: Samples, knowledge: Knowledge) -> None:
        self.samples, self.bank = samples, knowledge.bank
        self.limit = limit_of(samples)
        greys = np.repeat(samples.neutral_in[:, None], 3, axis=1)
        self.greys = Nodes(greys, samples.neutral, samples)
        inputs, outputs = samples.nodes.reshape(-1, 3), samples.table.reshape(-1, 3)
        self.all = Nodes(inputs, outputs, samples)
        rng = np.random.default_rng(3)
        order = rng.permutation(len(inputs))
        # A node that is clipped in each channel tells little.
        clear = samples.inside(outputs[order]).any(axis=1)
        order = np.concatenate([order[clear], order[~clear]])
        self.some = Nodes(inputs[order[:FITTED]], outputs[order[:FITTED]], samples)
        self.few = Nodes(inputs[order[:GLANCED]], outputs[order[:GLANCED]], samples)
        self.shown = _shown_pairs(self.bank)
        apart = samples.neutral - samples.neutral.mean(axis=1, keepdims=True)
        self.tinted = bool(np.abs(apart).max() > 3 * self.limit / 1023)

    def of(self, ends: Ends) -> Solved | None:
        """What explains the LUT between two ends."""
        base = ends.task()
        if base is None:
            return None
        if self.tinted:
            return self._tinted(ends)
        for parts in self._grey_forms(base):
            told = solved(base, parts, self.greys)
            if told.error > self.limit:
                continue
            found = self._coloured(ends, told)
            if found is not None:
                return found
        return None

    def _grey_forms(self, base: Conversion) -> Iterator[tuple[Part, ...]]:
        """Combinations of parts that greys show."""
        yield (EXPOSURE,)
        display = base.meeting.source == "display"
        for method in tones(display):
            yield (tone(method),) if display else (EXPOSURE, tone(method))

    def _coloured(self, ends: Ends, told: Solved) -> Solved | None:
        """With the parts that only colours show: none, then one of each."""
        for parts, start in self._colour_forms(told):
            for task in self._pairs(ends, parts, start):
                found = solved(task, parts, self.some, start)
                if found.error > self.limit:
                    continue
                if error_of(found.made, self.all) <= self.limit:
                    return plainer(found, self.some, self.limit)
        return None

    def _colour_forms(self, told: Solved) -> Iterator[tuple[tuple[Part, ...], np.ndarray]]:
        """The parts with more that leave greys alone, and numbers to start from."""
        yield told.parts, told.values
        last = told.parts[-1]
        if last.name == "shoulder" or last.name == "eetf":
            for on in CARRIERS:
                if on == "channels":
                    continue
                carried = tone(last.name, on)
                yield (*told.parts[:-1], carried), np.append(told.values, carried.start[-1])
        for part in (COMPRESSION, MAPPING, saturation("light"), saturation("after")):
            yield (*told.parts, part), np.append(told.values, part.start)

    def _pairs(
        self, ends: Ends, parts: tuple[Part, ...], start: np.ndarray
    ) -> Iterator[Conversion]:
        """The conversions between the likeliest gamuts: those that miss least at a glance."""
        own = ends.task()
        if own is not None:
            yield own
        told = []
        for pair in self.shown:
            task = ends.task(pair)
            if task is None or task == own:
                continue
            off = np.abs(self.few.misses(put(task, parts, start)))
            told.append((float(np.mean(np.log(off + ROUNDING_CODES))), pair, task))
        told.sort(key=lambda each: each[0])
        for _, _, task in told[:PAIRS]:
            yield task

    def _tinted(self, ends: Ends) -> Solved | None:
        """With parts that tint greys, all numbers at once."""
        forms: list[tuple[Part, ...]] = [(WHITE_BALANCE,)]
        forms += [(cdl(place),) for place in ("before", "light", "after")]
        forms.append((EXPOSURE, tone("shoulder"), cdl("after")))
        for parts in forms:
            for pair in self._adaptations(ends.pair):
                task = ends.task(pair)
                if task is None:
                    continue
                found = solved(task, parts, self.few)
                if found.error > self.limit:
                    continue
                found = solved(task, parts, self.some, found.values)
                if error_of(found.made, self.all) <= self.limit:
                    return plainer(found, self.some, self.limit)
        return None

    def _adaptations(self, pair: Pair) -> list[Pair]:
        """The pair, and the same gamuts with white adapted otherwise, or another one shown in."""
        if pair.alike:
            return [pair]
        like = [each for each in self.bank.like(pair) if each.adaptation != pair.adaptation]
        shown = [each for each in self.shown if each.source.name == pair.source.name]
        return [pair, *(each for each in (*like, *shown) if not each.published and each != pair)]


def _shown_pairs(bank: GamutBank) -> list[Pair]:
    """Every source to what pictures are made for, adapted as most software does it."""
    pairs = (bank.pair(index) for index in range(len(bank)))
    return [
        each
        for each in pairs
        if each.adaptation == "bradford" and not each.published and each.target.name in SHOWN_IN
    ]
