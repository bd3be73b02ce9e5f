"""Colours that run backwards."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit

NO_LATTICE = "a 1D LUT treats each channel by itself"


FEW = 0.005
"""Share of tetrahedra: fewer come with strong looks, at the edges of what they clip."""

LOOK = "usual in a strong look; look at saturated colours through it before you key or match"


class Fold(FindingKind):
    """Tetrahedra of the lattice are turned over."""

    code = "fold"
    limit = Limit(
        0.0,
        "share of tetrahedra",
        "a curve and a gamut conversion fold nothing deeper than half a code",
    )
    cure = "folds"
    seen = "colours double back: an edge or ring where a saturated colour should run smoothly"
    advice = "do not key or match through it; smooth it or make it again"

    def hindrance(self, lut: Examined) -> str:
        return NO_LATTICE if lut.subject.lattice is None else ""

    def examine(self, lut: Examined) -> Iterator[Finding]:
        folds = lut.folds
        if folds is not None and folds.share > self.limit_for(lut):
            message = (
                f"colours run backwards in {100 * folds.share:.3g} % of the lattice, "
                f"up to {folds.worst.value:.1f} codes deep"
            )
            few = folds.share < FEW
            changed = {"severity": "info", "by_default": False, "advice": LOOK} if few else {}
            place = lut.at(folds.worst.node)
            yield self.finding(lut, message, folds.share, place=place, **changed)


class FoldInBlack(FindingKind):
    """As `Fold`, in the darkest corner alone."""

    code = "fold_in_black"
    limit = Limit(
        0.15, "share of tetrahedra", "compressing a gamut turns over up to 7 % of what is below 0"
    )
    severity = "info"
    seen = "coloured specks in deep shadow noise"
    advice = "nothing, where the corner lies below black"

    def hindrance(self, lut: Examined) -> str:
        return NO_LATTICE if lut.subject.lattice is None else ""

    def examine(self, lut: Examined) -> Iterator[Finding]:
        folds = lut.folds
        if folds is None or folds.dark_share <= 0 or folds.share > Fold().limit_for(lut):
            return
        changed = {}
        if folds.dark_share > self.limit_for(lut):
            look = "look at dark colours through it before you trust it"
            changed = {"severity": "warning", "advice": look}
        message = f"colours run backwards in {100 * folds.dark_share:.1f} % of the darkest corner"
        place = lut.at(folds.worst.node)
        yield self.finding(lut, message, folds.dark_share, place=place, **changed)
