"""Fits of the parts of a description that greys show, then those that only colours show."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import groupby
from weakref import WeakKeyDictionary

import numpy as np

from lutbench.identification.built.ends import Between
from lutbench.identification.built.nodes import MOST_COLOURS, SOONER, Fits, Nodes, Work
from lutbench.identification.built.parts import (
    COMPRESSION,
    EXPOSURE,
    HLG_DISPLAY,
    MAPPING,
    NOTHING,
    WHITE_BALANCE,
    Part,
    carried,
    cdl,
    fitted_settings,
    put,
    saturation,
    tone,
    tone_from,
    toned_by,
    tones,
)
from lutbench.identification.built.solve import Fit, Solved, error_of, limit_of, plainer, solved
from lutbench.identification.common import ROUNDING_CODES
from lutbench.identification.gamutbank import Pair
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.samples import CODES, Samples
from lutbench.model.conversion import Conversion
from lutbench.model.gamuts import conversion
from lutbench.model.grade import Cdl
from lutbench.model.tone import ToneMapper
from lutbench.model.tone.carrier import CARRIERS, CHANNELS
from lutbench.model.transforms import Array, Pipeline

PAIRS = 5
"""Pairs of gamuts that are followed."""

BEHIND = 1.0
"""Natural logarithm of error over the best, in a quick trial, above which a pair is dropped."""

GLANCED, FITTED = 100, 400
"""Nodes that pairs of gamuts are compared on, and that parameters are fitted on."""

NEARLY = 1.0
"""10-bit codes of error on greys up to which a grade may still explain everything with colours."""

TINT = 3.0
"""Times the error of rounding from which greys count as tinted."""

_fits: WeakKeyDictionary[Samples, tuple[Fits, ...]] = WeakKeyDictionary()
"""What searches of the same LUT have fitted: `split` goes on where `identify` ended."""


class Fitting:
    """The nodes of a LUT, and the search for a description that fits them to rounding."""

    def __init__(self, samples: Samples, knowledge: Knowledge, thorough: bool) -> None:
        self.bank, self.thorough = knowledge.bank, thorough
        self.limit = limit_of(samples)
        work = Work(MOST_COLOURS if thorough else SOONER)
        fits = _fits.setdefault(samples, ({}, {}, {}, {}))
        greys = np.repeat(samples.neutral_in[:, None], 3, axis=1)
        self.greys = Nodes(greys, samples.neutral, samples, work, fits[0])
        inputs, outputs = samples.nodes.reshape(-1, 3), samples.table.reshape(-1, 3)
        self.all = Nodes(inputs, outputs, samples, work, fits[1])
        order = np.random.default_rng(3).permutation(len(inputs))
        # A node that is clipped in every channel holds little information.
        clear = samples.inside(outputs[order]).any(axis=1)
        order = np.concatenate([order[clear], order[~clear]])
        some, few = order[:FITTED], order[:GLANCED]
        self.some = Nodes(inputs[some], outputs[some], samples, work, fits[2])
        self.few = Nodes(inputs[few], outputs[few], samples, work, fits[3])
        apart = samples.neutral - samples.neutral.mean(axis=1, keepdims=True)
        self.tinted = bool(np.abs(apart).max() * CODES > TINT * self.limit)

    @cached_property
    def shown(self) -> list[Pair]:
        """Every source to each display gamut, by target; adapted by Bradford, as usual."""
        bank = self.bank
        usual = np.flatnonzero((bank.adaptations == bank.names.index("bradford")) & ~bank.published)
        pairs = [bank.pair(int(index)) for index in usual]
        shown = [each for each in pairs if each.target.name in SHOWN_IN and _has_gamuts(each)]
        return sorted(shown, key=lambda each: each.target.name)

    def of(
        self,
        ends: Between,
        *,
        straight: bool = False,
        like: Solved | None = None,
        mapper: ToneMapper | None = None,
    ) -> Solved | None:
        """The description of the LUT between two ends; with a `straight` stretch only a shoulder,
        with a `mapper` only that.

        Under a grade, only parts `like` those found for another target are tried, because a
        search of all forms takes long.
        """
        base = ends.task()
        if base is None:
            return None
        if like is not None and like.graded:
            return self._finished(base, like.parts, like.values)
        if mapper is not None:
            return self._through(ends, base, [(tone_from(mapper),)])
        found = self._near(base, ends.cdl) if ends.cdl is not None else None
        if found is not None:
            return found
        if not self.tinted:
            # A plain conversion is straight from end to end.
            shoulders = [*_plain_forms(base), (EXPOSURE, tone("shoulder"))]
            return self._through(ends, base, shoulders if straight else _grey_forms(base))
        plain = replace(ends, pair=self.bank.pair(0)).task()
        found = None if plain is None else self._through(ends, plain, _tinted_forms(straight))
        return found or (self._before(ends) if self.thorough else None)

    def _through(
        self, ends: Between, base: Conversion, forms: Iterable[tuple[Part, ...]]
    ) -> Solved | None:
        """The first form that explains greys to rounding, and colours with one part more."""
        explained: set[Part] = set()
        for parts in forms:
            if explained and explained <= set(parts):
                continue  # Fewer parts explain greys already.
            greys = solved(base, parts, self.greys)
            # So many numbers hardly settle on greys alone.
            if greys.error > (NEARLY if greys.graded else self.limit):
                continue
            found = self._coloured(ends, greys if self.tinted else self._plainer(greys))
            if found is not None:
                return found
            if self.tinted and not explained and greys.error <= self.limit:
                explained = set(parts)
        return None

    def _plainer(self, greys: Solved) -> Solved:
        return plainer(greys, self.greys, self.limit)

    def _coloured(self, ends: Between, greys: Solved) -> Solved | None:
        """With one more part that only colours show, or with none."""
        coloured = _Coloured(ends, greys)
        for part in (NOTHING, COMPRESSION) if greys.graded else self._colour_parts(greys.made):
            for pair in self._pairs(coloured, part):
                task = coloured.between(pair)
                if task is None:
                    continue
                if greys.graded:
                    # Greys hardly show the saturation of a CDL: all is fitted together.
                    found = _joined(ends, pair, greys, Solved(task, (part,), part.begin, 0.0))
                    done = self._finished(found.task, found.parts, found.values)
                    if done is not None:
                        return done
                    continue
                found = solved(task, (part,), self.some)
                if found.error > NEARLY:
                    continue
                found = _joined(ends, pair, greys, found)
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
        if task.tone is None or task.tone.per_channel:
            return []
        names = [each.name for each in fitted_settings(task.tone)]
        fit = Fit(task, (toned_by(task.tone, names),), self.greys)
        fit.keep_visible(np.array([getattr(task.tone, name) for name in names], dtype=float))
        return [name for k, name in enumerate(names) if k not in fit.free]

    def _pairs(self, coloured: _Coloured, part: Part) -> Iterator[Pair]:
        """The likeliest pair of the ends, then those with the smallest errors in a quick trial."""
        ends, greys = coloured.ends, coloured.greys
        yield ends.pair
        # A saturation starts from what is there without it.
        begin = NOTHING if part.name.startswith("saturation") else part
        key = greys.task, greys.parts, greys.values.tobytes(), begin.name
        if key not in self.few.fits:
            self.few.fits[key] = self._tried(coloured, begin), 0
        tried: list[tuple[float, Pair]] = self.few.fits[key][0]
        most = tried[0][0] + BEHIND if tried else 0.0
        for error, pair in tried[:PAIRS]:
            if pair is not ends.pair and error <= most:
                yield pair

    def _tried(self, coloured: _Coloured, part: Part) -> list[tuple[float, Pair]]:
        """The errors of every pair in a quick trial, and the pairs; the smallest error first."""
        tried: list[tuple[float, Pair]] = []
        for _, group in groupby(self.shown, lambda pair: pair.target.name):
            pairs = [each for each in group if values_for(coloured.greys, each) is not None]
            task = coloured.between(pairs[0]) if pairs else None
            task = None if task is None else put(task, (part,), part.begin)
            if task is not None:
                tried += zip(self._glanced(task, coloured.greys, pairs), pairs, strict=True)
        return sorted(tried, key=lambda each: each[0])

    def _glanced(self, task: Conversion, greys: Solved, pairs: list[Pair]) -> list[float]:
        """The error of the task with each pair's matrix, and its gains, in place of its own."""
        steps = task.pipeline().steps
        own = conversion(task.source.gamut, task.target.gamut, task.adaptation)
        at = steps.index(own)
        before = at if task.white_balance is None else steps.index(task.white_balance)
        with np.errstate(all="ignore"):
            light = np.asarray(Pipeline(steps[:before]).apply(self.few.inputs))
            lights = np.stack([light @ (p.matrix * gains_for(greys, p)).T for p in pairs])
            given = np.asarray(Pipeline(steps[at + 1 :]).apply(lights.reshape(-1, 3)))
        off = np.abs(self.few.samples.held(given.reshape(lights.shape)) - self.few.outputs) * CODES
        size = np.log(np.nan_to_num(off, nan=CODES) + ROUNDING_CODES)
        return [float(each) for each in size.mean(axis=(1, 2))]

    def _near(self, base: Conversion, grade: Cdl) -> Solved | None:
        """With a CDL after the conversion near one that was found, without an exposure or with one.

        A display's power curve makes an exposure of a slope, so the plainer of both is first.
        """
        numbers = np.array([*grade.slope, *grade.offset, *grade.power, grade.saturation])
        for more in ((), (EXPOSURE,)):
            parts = (*more, cdl("after"))
            start = np.concatenate([*(each.begin for each in more), numbers])
            found = self._finished(base, parts, start)
            if found is not None:
                return found
        return None

    def _before(self, ends: Between) -> Solved | None:
        """With a CDL on the source's signal, whose tint of greys depends on the gamuts."""
        parts = (cdl("before"),)
        for pair in (ends.pair, *self._to_others(ends.pair)):
            task = ends.task(pair)
            found = None if task is None else self._finished(task, parts, parts[0].begin)
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


def _tinted_forms(straight: bool) -> Iterator[tuple[Part, ...]]:
    """Combinations of parts that tint greys, the plainest first.

    Only gains leave a `straight` stretch of stops.
    """
    yield (WHITE_BALANCE,)
    yield (EXPOSURE, tone("shoulder"), WHITE_BALANCE)
    if not straight:
        yield (cdl("light"),)
        yield (EXPOSURE, cdl("after"))
        yield (EXPOSURE, tone("shoulder"), cdl("after"))


def gains_for(greys: Solved, pair: Pair) -> Array:
    """The gains before the matrix of a pair that tint greys as those without a matrix do."""
    if WHITE_BALANCE not in greys.parts:
        return np.ones(3)
    return np.asarray(np.linalg.solve(pair.matrix, greys.of(WHITE_BALANCE)))


def values_for(greys: Solved, pair: Pair) -> Array | None:
    """What greys show, for a pair; None where its gains are out of limits."""
    if WHITE_BALANCE not in greys.parts:
        return greys.values
    found = gains_for(greys, pair)
    within = (WHITE_BALANCE.low <= found) & (found <= WHITE_BALANCE.high)
    return greys.with_values(WHITE_BALANCE, found) if within.all() else None


@dataclass(frozen=True)
class _Coloured:
    """What greys show between two ends, with what is made of it for pairs of gamuts."""

    ends: Between
    greys: Solved
    _made: dict[int, Conversion | None] = field(default_factory=dict)

    def between(self, pair: Pair) -> Conversion | None:
        """The description between the gamuts of a pair, which lives as long as the search."""
        if id(pair) not in self._made:
            task, values = self.ends.task(pair), values_for(self.greys, pair)
            made = None if values is None else put(task, self.greys.parts, values)
            self._made[id(pair)] = made
        return self._made[id(pair)]


def _joined(ends: Between, pair: Pair, greys: Solved, colours: Solved) -> Solved:
    """Both parts in one."""
    task, values = ends.task(pair), values_for(greys, pair)
    assert task is not None
    assert values is not None
    every = np.concatenate([values, colours.values])
    return Solved(task, (*greys.parts, *colours.parts), every, colours.error)


def _has_gamuts(pair: Pair) -> bool:
    return not pair.alike and pair.source.gamut is not None and pair.target.gamut is not None
