"""A table that was made from fewer nodes by interpolation."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class Enlarged(FindingKind):
    """Between every second (third, fourth…) node the table is straight."""

    code = "enlarged"
    limit = Limit(0.21, "10-bit codes", "what rounding to four decimals leaves of a straight line")
    severity = "info"
    seen = "no more than the smaller table shows: what it lost is not brought back"
    advice = "no harm in it, but its size promises more than it holds: ask for the original"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if (found := lut.enlarged_from) is None:
            return
        size, bend = found
        if bend * CODES <= self.limit_for(lut):
            message = f"it was enlarged from {size} nodes an edge by straight interpolation"
            yield self.finding(lut, message, bend * CODES)
