"""A table whose values stand on few code values."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit


class CoarseValues(FindingKind):
    """All values stand on the codes of a low bit depth."""

    code = "banding"
    limit_code = "coarse_values"
    limit = Limit(1.1, "10-bit codes", "10-bit values have steps of one code, as the signal has")
    seen = "bands in skies and walls, at their edges after a grade"
    advice = "make it again with at least four decimals"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        step = lut.coarse_step
        if step > self.limit_for(lut):
            message = (
                f"all values stand on {lut.coarse_bits}-bit codes: steps of {step:.1f} 10-bit codes"
            )
            yield self.finding(lut, message, step)

    def spoils(self, lut: Examined) -> bool:
        """Whether the values are so coarse that noise and uneven steps tell nothing more."""
        return lut.coarse_step > self.limit_for(lut)
