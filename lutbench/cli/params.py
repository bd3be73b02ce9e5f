"""Parameter types: their base classes, for every supported version of click, and limits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    TextParam = click.ParamType[str]
    NumberParam = click.ParamType[float]
else:
    # Before click 8.4 the class cannot be given the type of its values.
    TextParam = NumberParam = click.ParamType


class LimitParam(NumberParam):
    """A number from 0 to below the largest difference of a measure; others would check nothing."""

    name = "limit"

    def __init__(self, measure: str) -> None:
        self.measure = measure

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        from lutbench.checks.limits import MOST

        # How many codes there are depends on another option.
        most = MOST.get(self.measure, math.inf)
        try:
            limit = float(value)
        except ValueError:
            limit = math.nan
        if not 0 <= limit < most:
            accepted = "a finite number from 0" if most == math.inf else f"0 to less than {most:g}"
            self.fail(f"{value!r} checks nothing; accepted: {accepted}", param, ctx)
        return limit
