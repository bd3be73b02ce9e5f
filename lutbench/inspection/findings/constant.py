"""A LUT that gives one grey for every grey."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class Constant(FindingKind):
    """Every grey comes out alike."""

    code = "constant"
    limit = Limit(1.0, "10-bit codes", "less than one code from black to white is no picture")
    severity = "error"
    decides = True
    seen = "no picture at all"
    advice = "it is empty, or its shaper is: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        value = float(np.ptp(axis.outputs, axis=0).max()) * CODES
        if value <= self.limit_for(lut):
            message = f"every grey comes out alike, at {100 * axis.black:.1f} %"
            yield self.finding(lut, message, value, place=lut.on_axis(0))
