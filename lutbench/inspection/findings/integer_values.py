"""A table that holds code values where signals from 0 to 1 belong."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.tables.code_scale import TOPS, code_scale


class IntegerValues(FindingKind):
    """The values are codes of some bit depth."""

    code = "integer_values"
    limit = Limit(2.0, "signal", "no display signal reaches twice its white")
    severity = "error"
    decides = True
    cure = "scale"
    seen = "a white frame: every value is far above white"
    advice = "divide the table by the top of its scale"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes = lut.subject.planes
        if float(planes.max()) <= self.limit_for(lut):
            return
        if (top := code_scale(planes)) is None:
            return
        message = (
            f"the values are {TOPS[top]}-bit codes, up to {planes.max():g}, "
            "where signals from 0 to 1 belong"
        )
        yield self.finding(lut, message, float(planes.max()))
