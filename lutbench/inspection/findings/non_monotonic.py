"""A grey scale that falls somewhere while the input gets brighter."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import CHANNELS, Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES

NEGATIVE = 0.5 * CODES
"""A fall of more than half the scale, in 10-bit codes: black and white change places."""


class NonMonotonic(FindingKind):
    """A channel falls while grey gets brighter."""

    code = "non_monotonic"
    limit = Limit(0.2, "10-bit codes", "twice what rounding to four decimals can turn round")
    cure = "monotone"
    seen = "a brighter part of a face or sky comes out darker than what is beside it"
    advice = "do not use it for viewing; make the LUT again, or repair it with a monotone curve"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        depth, index, channel = lut.subject.neutral.fall
        value = depth * CODES
        if value <= self.limit_for(lut):
            return
        message = f"{CHANNELS[channel]} falls by {value:.1f} codes while grey gets brighter"
        negative = {"severity": "error", "seen": "a negative picture"} if value > NEGATIVE else {}
        yield self.finding(lut, message, value, place=lut.on_axis(index), **negative)
