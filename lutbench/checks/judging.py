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
from lutbench.measure.difference import PointDifferences, measure
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
    first, *others = measured
    figures = held_against(limits, first.joined(others).spreads())
    worst = worst_place(tests, found, expected, measured, figures[0])
    return verdict(figures, worst, show)


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


def worst_place(
    tests: Sequence[SampledColours],
    found: Sequence[NDArray[Any]],
    expected: Sequence[NDArray[Any]],
    measured: Sequence[PointDifferences],
    figure: CheckFigure,
) -> str:
    """Where the measure of a figure is largest, in words."""
    name, _ = measure_of(figure.name)
    tops = [float(getattr(each, name).max()) for each in measured]
    at = int(np.argmax(tops))
    i = int(getattr(measured[at], name).argmax())
    label = tests[at].label(i) or tests[at].name
    return (
        f"{label}: in {in_codes(tests[at].signals[i])}, found {in_codes(found[at][i])}, "
        f"expected {in_codes(expected[at][i])} (10 bit)"
    )


def in_codes(values: NDArray[Any]) -> str:
    """Signal values as 10-bit codes with one decimal.

    >>> in_codes(np.array([0.0, 0.5, 1.0]))
    '0 511.5 1023'
    """
    return " ".join(f"{code:.1f}".removesuffix(".0") for code in np.asarray(values) * 1023)
