"""Legal range going in or coming out."""

from __future__ import annotations

import re
from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit, nearest
from lutbench.inspection.subject import CODES, NeutralAxis

LEGAL_BLACKS = (64 / 1023, 16 / 255)
LEGAL_WHITES = (940 / 1023, 235 / 255)

LEAST_CLIPPED = 0.03
"""Share of the input scale that both ends must clip: legal codes leave out 6 % and 8 %."""

AT_END = 1e-6
"""Signal: a rounding error of a six-decimal file."""


class LegalRangeOutput(FindingKind):
    """Black and white come out at the legal codes."""

    code = "legal_range_output"
    limit = Limit(1.5, "10-bit codes", "how near black and white lie to 64 and 940, with rounding")
    severity = "info"
    cure = "legal"
    cured_on_request = True
    seen = "right on a monitor set to legal range; flat and grey on one set to full range"
    advice = (
        "set the monitor's input range to legal (narrow, video), or build it with full range out"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        low, high = float(axis.mean.min()), float(axis.mean.max())
        off = max(nearest(low, LEGAL_BLACKS), nearest(high, LEGAL_WHITES)) * CODES
        if off <= self.limit_for(lut) and _ends_are_reached(axis):
            message = (
                f"what comes out lies in legal range: black {low * CODES:.0f}, "
                f"white {high * CODES:.0f} of 1023"
            )
            if says_full(lut.title):
                told = f"{message}, though its title says full range"
                yield self.finding(lut, told, off, severity="warning", by_default=True)
            else:
                yield self.finding(lut, message, off)


class LegalRangeInput(FindingKind):
    """The input is used between the legal codes only."""

    code = "legal_range_input"
    limit = Limit(6.0, "10-bit codes", "how near the ends of what is used lie to 64 and 940")
    severity = "info"
    seen = "fed with full range, shadows are crushed and highlights cut off"
    advice = "record or feed legal range, or build it for full range in"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        low, high = lut.subject.neutral.clip_low, lut.subject.neutral.clip_high
        if low is None or high is None or min(low.share, high.share) < LEAST_CLIPPED:
            return
        off = max(nearest(low.onset, LEGAL_BLACKS), nearest(high.onset, LEGAL_WHITES)) * CODES
        if off <= self.limit_for(lut):
            message = (
                f"it uses the input from {low.onset * CODES:.0f} to {high.onset * CODES:.0f} "
                "of 1023: it expects legal range in"
            )
            yield self.finding(lut, message, off)


def says_full(title: str) -> bool:
    """Whether a title claims full range, and not legal range as well.

    >>> says_full("Day, full range"), says_full("full to legal"), says_full("Fullmoon")
    (True, False, False)
    """
    words = set(re.findall(r"[a-z]+", title.lower()))
    return "full" in words and not words & {"legal", "narrow", "video", "limited"}


def _ends_are_reached(axis: NeutralAxis) -> bool:
    """Whether black and white are the lowest and the highest output, so that they are meant."""
    low, high = axis.mean.min() + AT_END, axis.mean.max() - AT_END
    return bool(axis.mean[0] <= low and axis.mean[-1] >= high)
