"""Values that a monitor cannot show."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class OutOfRange(FindingKind):
    """Values under 0 or over 1."""

    code = "out_of_range"
    limit = Limit(0.05, "10-bit codes", "just over the rounding of four decimals")
    cure = "range"
    cured_on_request = True
    seen = "a monitor cuts them off, or wraps them into wrong colours, or refuses the file"
    advice = "clamp it to 0..1 for a monitor; keep it for float pipelines"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes = lut.subject.planes
        over, under = float(planes.max()) - 1, -float(planes.min())
        value = max(over, under) * CODES
        if value <= self.limit_for(lut):
            return
        at = int(np.argmax(planes) if over >= under else np.argmin(planes))
        node = np.unravel_index(at, planes.shape)[1:]
        share = float(((planes > 1) | (planes < 0)).any(axis=0).mean())
        message = (
            f"values from {planes.min():.4f} to {planes.max():.4f}: "
            f"{100 * share:.1f} % of the nodes lie outside 0..1"
        )
        place = lut.at(tuple(int(each) for each in node))
        yield self.finding(lut, message, value, place=place)
