"""Fits of the parts of a description that greys show, then those that only colours show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.built.ends import Between
from lutbench.identification.built.parts import (
    COMPRESSION,
    EXPOSURE,
    HLG_DISPLAY,
    LEFT,
    MAPPING,
    NOTHING,
    WHITE_BALANCE,
    Part,
    carried,
    cdl,
    put,
    saturation,
    tone,
    toned_by,
    tones,
)
from lutbench.identification.built.solve import (
    ROUNDING_CODES,
    Nodes,
    Solved,
    Work,
    error_of,
    limit_of,
    plainer,
    solved,
)
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.samples import CODES, Samples
from lutbench.model.conversion import Conversion
from lutbench.model.gamuts import conversion
from lutbench.model.parameter import parameters
from lutbench.model.tone.carrier import CARRIERS, CHANNELS
from lutbench.model.transforms import Array, Pipeline

PAIRS = 5
"""Pairs of gamuts that are followed."""

BEHIND = 1.0
"""Natural logarithm of error over the best, in a quick trial, above which a pair is dropped."""

GLANCED, FITTED = 100, 400
"""Nodes that pairs of gamuts are compared on, and that parameters are fitted on."""

MOVE = 0.01
"""The change of a setting by which its effect on greys is tested."""

UNSEEN = 1e-6
"""10-bit codes of change in greys that are only arithmetic error."""

NEARLY = 1.0
"""10-bit codes of error on greys up to which a grade may still explain everything with colours."""

TINT = 3.0
"""Times the error of rounding from which greys count as tinted."""


class Fitting:
    """The nodes of a LUT, and the search for a description that fits them to rounding."""

    def __init__(self, samples: Samples, knowledge: Knowledge, thorough: bool) -> None:
        self.bank, self.thorough = knowledge.bank, thorough
        self.limit = limit_of(samples)
        work = Work()
        greys = np.repeat(samples.neutral_in[:, None], 3, axis=1)
        self.greys = Nodes(greys, samples.neutral, samples, work)
        inputs, outputs = samples.nodes.reshape(-1, 3), samples.table.reshape(-1, 3)
        self.all = Nodes(inputs, outputs, samples, work)
        order = np.random.default_rng(3).permutation(len(inputs))
        # A node that is clipped in every channel holds little information.
        clear = samples.inside(outputs[order]).any(axis=1)
        order = np.concatenate([order[clear], order[~clear]])
        self.some = Nodes(inputs[order[:FITTED]], outputs[order[:FITTED]], samples, work)
        self.few = Nodes(inputs[order[:GLANCED]], outputs[order[:GLANCED]], samples, work)
        self.shown = _shown_pairs(self.bank)
        apart = samples.neutral - samples.neutral.mean(axis=1, keepdims=True)
        self.tinted = bool(np.abs(apart).max() * CODES > TINT * self.limit)

    def of(
        self, ends: Between, *, straight: bool = False, like: Solved | None = None
    ) -> Solved | None:
        """The description of the LUT between two ends; with a `straight` stretch only a shoulder.

        Where greys are tinted, only parts `like` those found for another target are tried,
        because a search of all forms takes seconds.
        """
        base = ends.task()
        if base is None:
            return None
        if self.tinted:
            if like is not None:
                return self._finished(base, like.parts, like.values)
            return self._tinted(ends, base) or self._balanced(ends)
        # A plain conversion is straight from end to end.
        shoulders = [*_plain_forms(base), (EXPOSURE, tone("shoulder"))]
        for parts in shoulders if straight else _grey_forms(base):
            greys = solved(base, parts, self.greys)
            if greys.error > self.limit:
                continue
            found = self._coloured(ends, plainer(greys, self.greys, self.limit))
            if found is not None:
                return found
        return None

    def _coloured(self, ends: Between, greys: Solved) -> Solved | None:
        """With one more part that only colours show, or with none."""
        for part in self._colour_parts(greys.made):
            for pair in self._pairs(ends, greys, part):
                task = _between(ends, pair, greys)
                if task is None:
                    continue
                found = solved(task, (part,), self.some)
                if found.error > NEARLY:
                    continue
                found = _joined(ends.task(pair), greys, found)
                if found.error > self.limit:
                    # Parameters rounded for greys may be too inaccurate for colours.
                    found = solved(found.task, found.parts, self.some, found.values)
                if found.error <= self.limit and error_of(found.made, self.all) <= self.limit:
                    return plainer(found, self.some, self.limit)
        return None

    def _colour_parts(self, task: Conversion) -> Iterator[Part]:
        hidden = self._hidden(task)
        yield toned_by(task.tone, hidden) if task.tone is not None and hidden else NOTHING
        if task.tone is not None and hasattr(task.tone, "on"):
            yield from (carried(on) for on in CARRIERS if on != CHANNELS)
        yield from (COMPRESSION, MAPPING, saturation("light"), saturation("after"))

    def _hidden(self, task: Conversion) -> list[str]:
        """The settings of a tone that greys do not show."""
        if task.tone is None:
            return []
        plain = self.greys.misses(task)
        found = []
        for each in parameters(type(task.tone)):
            if each.limits is None or each.name in LEFT or each.name == "blend":
                continue
            value = getattr(task.tone, each.name)
            move = MOVE if value + MOVE <= each.limits[1] else -MOVE
            try:
                moved = replace(task.tone, **{each.name: value + move})
            except LutbenchError:
                continue
            change = self.greys.misses(replace(task, tone=moved)) - plain
            if np.abs(change).max() < UNSEEN:
                found.append(each.name)
        return found if not task.tone.per_channel else []

    def _pairs(self, ends: Between, greys: Solved, part: Part) -> Iterator[Pair]:
        """The likeliest pair of the ends, then those with the smallest errors in a quick trial."""
        yield ends.pair
        tried: list[tuple[float, Pair]] = []
        for _, group in groupby(self.shown, lambda pair: pair.target.name):
            pairs = list(group)
            task = _between(ends, pairs[0], greys)
            task = None if task is None else put(task, (part,), np.array(part.start))
            if task is not None:
                tried += zip(self._glanced(task, pairs), pairs, strict=True)
        tried.sort(key=lambda each: each[0])
        most = tried[0][0] + BEHIND if tried else 0.0
        for error, pair in tried[:PAIRS]:
            if pair is not ends.pair and error <= most:
                yield pair

    def _glanced(self, task: Conversion, pairs: list[Pair]) -> list[float]:
        """The error of the task with each pair's matrix in place of its own."""
        steps = task.pipeline().steps
        own = conversion(task.source.gamut, task.target.gamut, task.adaptation)
        at = steps.index(own)
        with np.errstate(all="ignore"):
            light = np.asarray(Pipeline(steps[:at]).apply(self.few.inputs))
            lights = np.stack([light @ pair.matrix.T for pair in pairs])
            given = np.asarray(Pipeline(steps[at + 1 :]).apply(lights.reshape(-1, 3)))
        off = np.abs(self.few.samples.held(given.reshape(lights.shape)) - self.few.outputs) * CODES
        size = np.log(np.nan_to_num(off, nan=CODES) + ROUNDING_CODES)
        return [float(each) for each in size.mean(axis=(1, 2))]

    def _tinted(self, ends: Between, base: Conversion) -> Solved | None:
        """With a grade after the matrix: greys show nearly all of it, but hardly a saturation."""
        for parts in _tinted_forms():
            greys = solved(base, parts, self.greys)
            if greys.error > NEARLY:
                continue
            # Each pair takes half a second: only `split` tries more than the likeliest.
            others = self._to_others(ends.pair) if self.thorough else []
            for pair in (ends.pair, *others):
                task = ends.task(pair)
                if task is None:
                    continue
                for more in (NOTHING, COMPRESSION):
                    start = np.append(greys.values, more.start)
                    found = self._finished(task, (*parts, more), start)
                    if found is not None:
                        return found
        return None

    def _finished(self, task: Conversion, parts: tuple[Part, ...], start: Array) -> Solved | None:
        """The parameters of the parts, fitted on few nodes, then more; None with a large error."""
        found = solved(task, parts, self.few, start)
        if found.error > self.limit:
            return None
        found = solved(task, parts, self.some, found.values)
        if error_of(found.made, self.all) > self.limit:
            return None
        return plainer(found, self.some, self.limit)

    def _to_others(self, pair: Pair) -> list[Pair]:
        """The same source to the other gamuts that pictures are made for."""
        names = pair.source.name, pair.target.name
        return [p for p in self.shown if p.source.name == names[0] and p.target.name != names[1]]

    def _balanced(self, ends: Between) -> Solved | None:
        """With parts before the matrix that tint greys."""
        for parts in ((WHITE_BALANCE,), (cdl("before"),))[: 1 + self.thorough]:
            for pair in self._adaptations(ends.pair):
                task = ends.task(pair)
                if task is None:
                    continue
                begin = np.array([value for part in parts for value in part.start])
                found = self._finished(task, parts, begin)
                if found is not None:
                    return found
        return None

    def _adaptations(self, pair: Pair) -> list[Pair]:
        """The pair, the same gamuts with other adaptations, and other target gamuts."""
        if pair.alike:
            return [pair]
        like = [each for each in self.bank.like(pair) if each.adaptation != pair.adaptation]
        return [pair, *(each for each in like if not each.published), *self._to_others(pair)]


def _plain_forms(base: Conversion) -> Iterator[tuple[Part, ...]]:
    """An exposure, with the display that HLG is shown on where one is named."""
    shown = base.source.display or base.target.display
    yield (EXPOSURE, HLG_DISPLAY) if shown else (EXPOSURE,)


def _grey_forms(base: Conversion) -> Iterator[tuple[Part, ...]]:
    """Combinations of parts that greys show."""
    yield from _plain_forms(base)
    display = base.meeting.source == "display"
    for method in tones(display):
        yield (tone(method),) if display else (EXPOSURE, tone(method))


def _joined(task: Conversion | None, greys: Solved, colours: Solved) -> Solved:
    """Both parts in one."""
    assert task is not None
    values = np.concatenate([greys.values, colours.values])
    return Solved(task, (*greys.parts, *colours.parts), values, colours.error)


def _tinted_forms() -> Iterator[tuple[Part, ...]]:
    """Combinations of parts that tint greys and come after the matrix, which leaves greys alone."""
    yield (cdl("light"),)
    yield (EXPOSURE, cdl("after"))
    yield (EXPOSURE, tone("shoulder"), cdl("after"))


def _between(ends: Between, pair: Pair, greys: Solved) -> Conversion | None:
    """What greys show, between the gamuts of a pair."""
    task = ends.task(pair)
    return None if task is None else put(task, greys.parts, greys.values)


def _shown_pairs(bank: GamutBank) -> list[Pair]:
    """Every source to each display gamut, adapted by Bradford as in most software; by target."""
    usual = np.flatnonzero((bank.adaptations == bank.names.index("bradford")) & ~bank.published)
    pairs = [bank.pair(int(index)) for index in usual]
    shown = [each for each in pairs if each.target.name in SHOWN_IN and _has_gamuts(each)]
    return sorted(shown, key=lambda each: each.target.name)


def _has_gamuts(pair: Pair) -> bool:
    return not pair.alike and pair.source.gamut is not None and pair.target.gamut is not None
