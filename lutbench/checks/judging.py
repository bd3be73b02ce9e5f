"""Two sets of outputs held against limits: shared by the checks that compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.checks.base import CheckResult
from lutbench.checks.limits import CheckFigure, held_against, measure_of
from lutbench.errors import DefinitionError
from lutbench.measure.comparison import (
    ASSUMED_SOURCE,
    ASSUMED_TARGET,
    SETS,
    colours_to_compare,
)
from lutbench.measure.difference import PointDifferences, measure, measure_sides
from lutbench.measure.samples import (
    SampledColours,
    nodes_of,
)
from lutbench.measure.view import View, view_of
from lutbench.model.conversion import Encoding
from lutbench.model.transforms import Transform


def view_for(target: Encoding | None) -> View:
    """How a target is seen; BT.709 on a BT.1886 display where none is named."""
    return view_of(target or ASSUMED_TARGET)


def colours(
    sets: Sequence[str] | None,
    side: Transform,
    source: Encoding | None,
    where: str = "",
) -> list[SampledColours]:
    """The named sets of test colours for `side`; its nodes by default, or where it has none, all.

    Raises
    ------
    DefinitionError
        For a set that nobody knows or that has no colours here, or when no set is named.
    """
    has_nodes = nodes_of(side) is not None
    names = sets if sets is not None else ("nodes",) if has_nodes else SETS[:3]
    if not names:
        raise DefinitionError(
            "no test colours are named, so nothing is compared",
            where=where,
            accepted=", ".join(SETS),
        )
    if "nodes" in names and not has_nodes:
        raise DefinitionError(
            "there are no nodes to compare at", where=where, accepted="a LUT, or other sets"
        )
    return colours_to_compare(side, side, source or ASSUMED_SOURCE, names)


def colours_for_both(
    sets: Sequence[str] | None, a: Transform, b: Transform | None, source: Encoding | None
) -> list[SampledColours]:
    """The named sets of test colours for two sides, or all that there are."""
    if sets is not None and not sets:
        raise DefinitionError(
            "no test colours are named, so nothing is compared", accepted=", ".join(SETS)
        )
    has_nodes = nodes_of(a) is not None or (b is not None and nodes_of(b) is not None)
    names = sets or (SETS if has_nodes else SETS[:3])
    return colours_to_compare(a, b if b is not None else a, source or ASSUMED_SOURCE, names)


def judge(
    tests: Sequence[SampledColours],
    found: Sequence[NDArray[Any]],
    expected: Sequence[NDArray[Any]],
    view: View,
    limits: Mapping[str, float],
    show: tuple[str, ...] = (),
) -> CheckResult:
    """Hold the difference of two sets of outputs against limits, and say where it is worst."""
    measured = [measure(b, a, view) for a, b in zip(found, expected, strict=True)]
    figures = held_against(limits, PointDifferences.spreads_of(measured))
    at, i = worst_of(measured, figures[0])
    return verdict(figures, worst_place(tests[at], i, found[at][i], expected[at][i]), show)


def judge_sides(
    tests: Sequence[SampledColours],
    found: Transform,
    expected: Transform,
    view: View,
    limits: Mapping[str, float],
    show: tuple[str, ...] = (),
) -> CheckResult:
    """The same for what two transforms make of test colours, whose outputs are not kept."""
    measured = [measure_sides(expected, found, each, view) for each in tests]
    figures = held_against(limits, PointDifferences.spreads_of(measured))
    at, i = worst_of(measured, figures[0])
    signals = tests[at].signals[i : i + 1]
    ends = (np.asarray(side.apply(signals), np.float64)[0] for side in (found, expected))
    return verdict(figures, worst_place(tests[at], i, *ends), show)


def verdict(
    figures: Sequence[CheckFigure], where: str = "", show: tuple[str, ...] = ()
) -> CheckResult:
    """A finding from figures: it passes when every one holds."""
    passed = all(figure.holds for figure in figures)
    failing = [figure for figure in figures if not figure.holds]
    summary = "; ".join(figure.words for figure in (failing or figures))
    return CheckResult(
        passed, summary, tuple(figures), where if not passed else "", show if not passed else ()
    )


def worst_of(measured: Sequence[PointDifferences], figure: CheckFigure) -> tuple[int, int]:
    """Where the measure of a figure is largest: in which set, and at which of its colours."""
    name, _ = measure_of(figure.name)
    at = int(np.argmax([float(getattr(each, name).max()) for each in measured]))
    return at, int(getattr(measured[at], name).argmax())


def worst_place(
    colours: SampledColours, i: int, found: NDArray[Any], expected: NDArray[Any]
) -> str:
    """A test colour and what the two sides make of it, in words."""
    return (
        f"{colours.label(i) or colours.name}: in {in_codes(colours.signals[i])}, found "
        f"{in_codes(found)}, expected {in_codes(expected)} (10 bit)"
    )


def in_codes(values: NDArray[Any]) -> str:
    """Signal values as 10-bit codes with one decimal.

    >>> in_codes(np.array([0.0, 0.5, 1.0]))
    '0 511.5 1023'
    """
    return " ".join(f"{code:.1f}".removesuffix(".0") for code in np.asarray(values) * 1023)
