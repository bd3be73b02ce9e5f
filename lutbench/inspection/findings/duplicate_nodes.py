"""Nodes written twice."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit


class DuplicateNodes(FindingKind):
    """Neighbouring nodes are alike where they should differ."""

    code = "duplicate_nodes"
    limit = Limit(
        0.002, "share of neighbours", "clean tables have up to 0.11 %; a plane twice in 65, 0.5 %"
    )
    seen = "flat patches with edges in smooth colour"
    advice = "it was enlarged without interpolation, or a plane was written twice: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None or lut.coarse_bits:
            return  # plateaus of a 1D LUT, and of coarse values, are steps of their own
        share, node = measures.repeats(lut.subject)
        if share > self.limit_for(lut):
            message = (
                f"{100 * share:.2g} % of neighbouring nodes are alike where they should differ"
            )
            yield self.finding(lut, message, share, place=lut.at(node))
