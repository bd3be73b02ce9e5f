"""A table that was made from fewer nodes by interpolation."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class Enlarged(FindingKind):
    """Between every second (third, fourth…) node the table is straight."""

    code = "enlarged"
    limit = Limit(
        0.02, "10-bit codes", "what six decimals leave of a straight line; bends are far above it"
    )
    severity = "info"
    seen = "no more than the smaller table shows: what it lost is not brought back"
    advice = "no harm in it, but its size promises more than it holds: ask for the original"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None:
            return
        found = measures.enlarged_from(lut.subject.planes, self.limit_for(lut) / CODES)
        if found is not None:
            size, bend = found
            message = f"it was enlarged from {size} nodes an edge by straight interpolation"
            yield self.finding(lut, message, bend * CODES)
