"""Comparing two sets of outputs with limits: shared by the checks that compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.checks.base import CheckResult
from lutbench.checks.limits import CheckFigure, checked_figures, measure_of
from lutbench.errors import DefinitionError
from lutbench.measure.comparison import ASSUMED_SOURCE, ASSUMED_TARGET, SETS, colours_to_compare
from lutbench.measure.delta_e import View, view_of
from lutbench.measure.difference import PointDifferences, measure, measure_sides
from lutbench.measure.samples import SampledColours, nodes_of
from lutbench.model.conversion import Encoding
from lutbench.model.transforms import Transform


def view_for(target: Encoding | None) -> View:
    """The view of a target; BT.709 on a BT.1886 display where none is named."""
    return view_of(target or ASSUMED_TARGET)


def colours(
    sets: Sequence[str] | None,
    side: Transform,
    source: Encoding | None,
    where: str = "",
) -> list[SampledColours]:
    """The named sets of test colours; by default the nodes of `side`, or all sets if it has none.

    Raises DefinitionError when a set is not known or has no colours here, or no set is named.
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
            "there are no nodes to compare", where=where, accepted="a LUT, or other sets"
        )
    return colours_to_compare(side, side, source or ASSUMED_SOURCE, names)


def colours_for_both(
    sets: Sequence[str] | None, a: Transform, b: Transform | None, source: Encoding | None
) -> list[SampledColours]:
    """The named sets of test colours for two sides; by default all sets."""
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
    """Compare the difference of two sets of outputs with limits, and find the worst colour."""
    measured = [measure(b, a, view) for a, b in zip(found, expected, strict=True)]
    figures = checked_figures(limits, PointDifferences.spreads_of(measured))
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
    """As `judge`, for the outputs of two transforms, which are computed here and not kept."""
    measured = [measure_sides(expected, found, each, view) for each in tests]
    figures = checked_figures(limits, PointDifferences.spreads_of(measured))
    at, i = worst_of(measured, figures[0])
    signals = tests[at].signals[i : i + 1]
    ends = (np.asarray(side.apply(signals), np.float64)[0] for side in (found, expected))
    return verdict(figures, worst_place(tests[at], i, *ends), show)


def verdict(
    figures: Sequence[CheckFigure], where: str = "", show: tuple[str, ...] = ()
) -> CheckResult:
    """A check result from figures; it passes when all are within their limits."""
    passed = all(figure.holds for figure in figures)
    failing = [figure for figure in figures if not figure.holds]
    summary = "; ".join(figure.words for figure in (failing or figures))
    return CheckResult(
        passed, summary, tuple(figures), where if not passed else "", show if not passed else ()
    )


def worst_of(measured: Sequence[PointDifferences], figure: CheckFigure) -> tuple[int, int]:
    """The set, and the index of its colour, at which the measure of a figure is largest."""
    name, _ = measure_of(figure.name)
    at = int(np.argmax([float(getattr(each, name).max()) for each in measured]))
    return at, int(getattr(measured[at], name).argmax())


def worst_place(
    colours: SampledColours, i: int, found: NDArray[Any], expected: NDArray[Any]
) -> str:
    """A test colour and both outputs for it, in words."""
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
