"""Compare two transforms: how much they differ, where, and whether for a simple reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.given import one_of
from lutbench.measure.causes import explain
from lutbench.measure.delta_e import CLEARLY_FROM, DELTA_E_NAMES, View, size_word, view_of
from lutbench.measure.difference import MEASURES, Measures, PointDifferences, Spread, measure_sides
from lutbench.measure.guesses import Explanation
from lutbench.measure.samples import (
    SampledColours,
    chart_patches,
    neutral_ramp,
    nodes_of,
    random_points,
)
from lutbench.model.curves.log import AcesCct
from lutbench.model.curves.video import Bt709
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import ACES_AP1, BT709
from lutbench.model.signal import BIT_DEPTHS, CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData, Result
from lutbench.tables.nodes import domain_of

SETS = ("chart", "neutral", "random", "nodes")

ASSUMED_SOURCE = Encoding(AcesCct(), ACES_AP1)
"""The source if none is named; it only decides which inputs the patches of the chart are."""

ASSUMED_TARGET = Encoding(Bt709(), BT709)
"""The target if none is named; it decides on which display the outputs are seen."""

APART_SHARE = 0.1
"""Share of the domain by which any two of the worst colours differ in at least one channel."""


@dataclass(frozen=True)
class WorstColour(PlainData):
    """A colour at which the two sides differ much."""

    set: str
    label: str
    input: tuple[float, float, float]
    a: tuple[float, float, float]
    b: tuple[float, float, float]
    delta_e_2000: float
    delta_e_itp: float
    code_10bit: float
    swatch_a: str
    """The output of A as sRGB, #rrggbb."""
    swatch_b: str


@dataclass(frozen=True)
class CodeSpread(Spread):
    """Code values at the depth of ``--bits``."""

    KEYS = ("bits", "mean", "p95", "p99", "max")

    bits: Annotated[int, Literal[8, 10, 12, 16]]


@dataclass(frozen=True, kw_only=True)
class SetMeasures(Measures):
    """The difference between two sides over one set of colours."""

    KEYS = ("count", *MEASURES)

    count: int


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Result):
    """What `compare` found."""

    KEYS = (
        *("*all_colours", "code_values", "measure=view.measure", "size"),
        *("seen_on=view.description", "sets=measures_by_set", "worst", "explanation", "assumed"),
    )

    view: View
    source: Encoding
    bits: int
    sets: dict[str, dict[str, Spread]]
    """Spreads by set of test colours, then by measure, as in `Accuracy`."""
    counts: dict[str, int]
    overall: dict[str, Spread]
    worst: tuple[WorstColour, ...]
    explanation: tuple[Explanation, ...]
    assumed: tuple[str, ...]
    """What was assumed, one line each."""

    @property
    def size(self) -> str:
        """The difference in a word, by its 95th percentile over all test colours."""
        return size_word(self.overall[self.view.measure].p95)

    @property
    def words(self) -> str:
        """The difference in a word, then its figures; a colon stands between them."""
        seen = self.overall[self.view.measure]
        size = f"{self.size[0].upper()}{self.size[1:]}"
        if seen.p95 < CLEARLY_FROM <= seen.max:
            size += " in most colours, clearly visible in some"
        return (
            f"{size}: 95 % of the colours under {DELTA_E_NAMES[self.view.measure]} "
            f"{seen.p95:.2f}, {seen.mean:.2f} on average, {seen.max:.2f} at most"
        )

    @property
    def code_values(self) -> CodeSpread:
        """The differences in code values of the depth asked for."""
        scale = (2**self.bits - 1) / CODES_10_BIT
        codes = self.overall["code_10bit"].to_data()
        return CodeSpread(bits=self.bits, **{key: scale * codes[key] for key in codes})

    @property
    def measures_by_set(self) -> dict[str, SetMeasures]:
        """The number of colours and the spreads of each set."""
        return {name: SetMeasures(count=self.counts[name], **self.sets[name]) for name in self.sets}

    @property
    def all_colours(self) -> Measures:
        """The spread of each measure over all test colours."""
        return Measures(**self.overall)


def compare(
    a: Transform,
    b: Transform,
    *,
    source: Encoding | None = None,
    target: Encoding | None = None,
    sets: Sequence[str] = SETS,
    bits: int = 10,
    worst: int = 8,
) -> Comparison:
    """Compare two transforms: LUTs, pipelines, or one of each.

    The arguments are those of `lutbench.compare`, as objects; `sets` is ``colours`` there.

    Raises
    ------
    LutbenchError
        When a side gives NaN or infinity, or there is nothing to compare.
    """
    if bits not in BIT_DEPTHS:
        raise LutbenchError(
            f"{bits} bits is not a bit depth", accepted=", ".join(map(str, BIT_DEPTHS))
        )
    view = view_of(target or ASSUMED_TARGET)
    tests = colours_to_compare(a, b, source or ASSUMED_SOURCE, sets)
    measured = [measure_sides(a, b, each, view) for each in tests]
    return Comparison(
        view=view,
        source=source or ASSUMED_SOURCE,
        bits=bits,
        sets={each.name: found.spreads() for each, found in zip(tests, measured, strict=True)},
        counts={each.name: len(each) for each in tests},
        overall=PointDifferences.spreads_of(measured),
        worst=_worst((a, b), tests, measured, view, worst),
        explanation=explain(a, b, view, source),
        assumed=_assumed(source, target, sets),
    )


def colours_to_compare(
    a: Transform, b: Transform, source: Encoding, sets: Sequence[str] = SETS
) -> list[SampledColours]:
    """The test colours of `compare`, over the domain of both sides."""
    domain = domain_of(a, b)
    found: list[SampledColours] = []
    for name in sets:
        match one_of("set of test colours", name, SETS):
            case "chart":
                found.append(chart_patches(source))
            case "neutral":
                found.append(neutral_ramp(domain=domain))
            case "random":
                found.append(random_points(domain=domain))
            case _:
                found += _lattices(a, b)
    if not found:
        raise LutbenchError(
            "there are no test colours to compare", accepted="a set, or a side with a lattice"
        )
    return found


def _lattices(a: Transform, b: Transform) -> list[SampledColours]:
    """The nodes of both sides, only once if they are the same."""
    found: dict[str, SampledColours] = {}
    for side in (a, b):
        samples = nodes_of(side)
        if samples is None:
            continue
        same = found.get(samples.name)
        if same is None:
            found[samples.name] = samples
        elif not same.same_as(samples):
            name = f"{samples.name} of the second"
            found[name] = SampledColours(name, samples.signals)
    return list(found.values())


def _worst(
    sides: tuple[Transform, Transform],
    tests: Sequence[SampledColours],
    measured: Sequence[PointDifferences],
    view: View,
    count: int,
) -> tuple[WorstColour, ...]:
    """The worst colours by the view's measure, none close to a worse one."""
    candidates = []
    for at, found in enumerate(measured):
        values = getattr(found, view.measure)
        candidates += [
            (float(values[i]), float(found.code_10bit[i]), at, int(i))
            for i in _largest(values, found.code_10bit, 400 * max(count, 1))
            if found.code_10bit[i] > 0
        ]
    candidates.sort(key=lambda each: each[:2], reverse=True)
    lows, highs = zip(*(each.ends for each in tests), strict=True)
    width = np.max(highs, axis=0) - np.min(lows, axis=0)
    taken: list[WorstColour] = []
    places: list[Array] = []
    for _, _, at, i in candidates:
        if len(taken) == count:
            break
        signal = np.asarray(tests[at].signals[i])
        place = signal / width
        if any(np.abs(place - other).max() < APART_SHARE for other in places):
            continue
        places.append(place)
        out_a, out_b = (np.asarray(side.apply(signal), dtype=np.float64) for side in sides)
        taken.append(
            WorstColour(
                tests[at].name,
                tests[at].label(i),
                _three(signal),
                _three(out_a),
                _three(out_b),
                float(measured[at].delta_e_2000[i]),
                float(measured[at].delta_e_itp[i]),
                float(measured[at].code_10bit[i]),
                view.swatch(out_a),
                view.swatch(out_b),
            )
        )
    return tuple(taken)


def _largest(values: Array, then: Array, count: int) -> NDArray[np.int64]:
    """The indices of the `count` largest values, the largest first; equal ones by `then`.

    So colours that differ in code values only (above white, for example) come last.
    """
    if len(values) > count:
        # Sorting all values of a large lattice would take a minute.
        least = np.partition(values, len(values) - count)[-count]
        above, level = np.flatnonzero(values > least), np.flatnonzero(values == least)
        room = count - len(above)
        if len(level) > room:
            bound = np.partition(then[level], len(level) - room)[-room]
            over = level[then[level] > bound]
            level = np.concatenate([over, level[then[level] == bound][: room - len(over)]])
        held = np.sort(np.concatenate([above, level]))
    else:
        held = np.arange(len(values))
    return np.asarray(held[np.lexsort((-then[held], -values[held]))])


def _three(values: Array) -> tuple[float, float, float]:
    red, green, blue = map(float, values)
    return red, green, blue


def _assumed(
    source: Encoding | None, target: Encoding | None, sets: Sequence[str]
) -> tuple[str, ...]:
    lines = []
    if source is None and "chart" in sets:
        lines.append(
            "no source is named: the chart's patches are encoded in "
            f"{ASSUMED_SOURCE.curve.name} / {ASSUMED_SOURCE.gamut.name}"
        )
    if target is None:
        lines.append(
            "no target is named: seen as "
            f"{ASSUMED_TARGET.curve.name} on {view_of(ASSUMED_TARGET).description}"
        )
    return tuple(lines)
