"""Hues that turn."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined, Place
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.findings.fold import NO_LATTICE
from lutbench.inspection.hue import HUES


class HueShiftFound(FindingKind):
    """A hue turns as it gets more saturated."""

    code = "hue_shift"
    limit = Limit(12.0, "degrees", "about the hue step between neighbouring names of colours")
    severity = "info"
    seen = "strong colours change their name: a red light goes orange, a blue one violet"
    advice = (
        "usual where colours outside the target are cut off; compressing the gamut turns them less"
    )

    def hindrance(self, lut: Examined) -> str:
        if lut.subject.lattice is None:
            return NO_LATTICE
        return "" if lut.hue is not None else "needs the source's curve and gamut"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.hue is None:
            return
        turn, ramp, step = lut.hue.greatest()
        if abs(turn) <= self.limit_for(lut):
            return
        signal, output = lut.hue.signals[ramp, step], lut.hue.outputs[ramp, step]
        place = Place((), tuple(signal.tolist()), tuple(output.tolist()))
        message = f"{HUES[ramp]} turns by {abs(turn):.0f}° of hue as it gets more saturated"
        yield self.finding(lut, message, abs(turn), place=place)
