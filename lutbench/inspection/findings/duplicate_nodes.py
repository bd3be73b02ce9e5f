"""Planes of the table written twice."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit


class DuplicateNodes(FindingKind):
    """A whole plane is like the one before it, between planes that differ."""

    code = "duplicate_nodes"
    limit = Limit(
        0.0,
        "share of planes",
        "clipping makes planes alike up to an end of the scale only",
    )
    seen = "flat patches with edges in smooth colour"
    advice = "it was enlarged without interpolation, or a plane was written twice: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None or lut.coarse_bits:
            return  # plateaus of a 1D LUT, and of coarse values, are steps of their own
        planes = measures.repeated_planes(lut.subject)
        share = len(planes) / (3 * (lut.subject.size - 1))
        if planes and share > self.limit_for(lut):
            axis, index = planes[0]
            node = [0, 0, 0]
            node[axis] = index
            where = f"{['red', 'green', 'blue'][axis]} plane {index + 1}"
            message = f"{len(planes)} planes of the table are written twice, the first {where}"
            if len(planes) == 1:
                message = f"a plane of the table is written twice: {where}"
            yield self.finding(lut, message, share, place=lut.at(tuple(node)))
