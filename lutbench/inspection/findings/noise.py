"""Noise on the values, and single nodes that stand out."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.findings.coarse import CoarseValues

ROUNDED_NOISE = 0.3
"""10-bit codes (standard deviation): rounding to 10 bits looks like noise of 0.29."""

ROUNDED_STRAY = 0.6
"""10-bit codes: rounding to 10 bits moves a node half a code out of its neighbours."""


OUT_OF_PLATEAU = 10.0
"""10-bit codes: a look that turns hues leaves nodes up to 5 codes out of what it clips."""


class Noise(FindingKind):
    """The values are noisy."""

    code = "noise"
    limit = Limit(
        0.35, "10-bit codes", "compressed gamuts sampled at 17 nodes look like up to 0.28 codes"
    )
    cure = "noise"
    seen = "blotches of colour in smooth areas, and bands after a grade"
    advice = "it was measured or derived from pictures: smooth it, or build it from its curves"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if self.noisy(lut):
            message = f"the values are noisy: {lut.noise:.2f} 10-bit codes (standard deviation)"
            yield self.finding(lut, message, lut.noise)

    def noisy(self, lut: Examined) -> bool:
        """Whether noise is found; not looked for in a coarse table."""
        if CoarseValues().spoils(lut):
            return False
        rounding = ROUNDED_NOISE if lut.coarse_bits else 0.0
        return lut.noise > max(self.limit_for(lut), rounding)


class StrayNode(FindingKind):
    """One node stands out of its neighbours."""

    code = "stray_node"
    limit = Limit(0.5, "10-bit codes", "kinks of strong looks look like up to 0.4 codes")
    cure = "stray"
    seen = "a spot of wrong colour wherever the picture has just that colour"
    advice = "a number in the file is wrong: make it again, or smooth that node"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if CoarseValues().spoils(lut) or Noise().noisy(lut) or lut.enlarged_from is not None:
            return  # nodes of a smaller table stand out by the bends at them
        spot, plain = measures.stray(lut.subject), measures.out_of_plateau(lut.subject)
        if plain.value > max(spot.value, OUT_OF_PLATEAU):
            spot = plain
        if spot.value > max(self.limit_for(lut), ROUNDED_STRAY if lut.coarse_bits else 0.0):
            message = f"a node stands {spot.value:.1f} codes or more out of its neighbours"
            yield self.finding(lut, message, spot.value, place=lut.at(spot.node))
