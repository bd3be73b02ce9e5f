"""A LUT that takes all colour out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class Monochrome(FindingKind):
    """Red, green and blue come out alike everywhere."""

    code = "monochrome"
    limit = Limit(0.5, "10-bit codes", "rounding to 10 bits may part R, G and B by this much")
    severity = "info"
    seen = "a black-and-white picture"
    advice = "right for judging light alone, wrong for everything else"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes, limit = lut.subject.planes, self.limit_for(lut)
        value = float(np.ptp(planes, axis=0).max()) * CODES
        empty = float(np.ptp(planes)) < limit / CODES
        if lut.subject.lattice is not None and value <= limit and not empty:
            yield self.finding(lut, "all colour is taken out", value)
