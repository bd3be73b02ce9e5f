"""A black that comes out grey."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit, nearest
from lutbench.inspection.findings.legal_range import LEGAL_BLACKS, LegalRangeOutput
from lutbench.inspection.subject import CODES


class LiftedBlack(FindingKind):
    """Black comes out above 0, and not at a legal black."""

    code = "lifted_black"
    limit = Limit(10.0, "10-bit codes", "about 1 % of signal, where a black is seen to be grey")
    severity = "info"
    seen = "blacks look grey, as through haze; a waveform never reaches 0 %"
    advice = "right when log comes out; else a look, or a range mistake: check the range"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        value = axis.black * CODES
        legal = nearest(axis.black, LEGAL_BLACKS) * CODES <= LegalRangeOutput().limit_for(lut)
        if value <= self.limit_for(lut) or legal or axis.white <= axis.black:
            return
        message = f"black comes out at {100 * axis.black:.1f} %"
        if axis.clip_low is not None:
            message += " though shadows are cut off below it"
        yield self.finding(lut, message, value, place=lut.on_axis(0))
