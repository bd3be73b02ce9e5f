"""Findings on colours: no colour left, folds, hue shifts, clipped colours."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.facts import evidence_of
from lutbench.inspection.finding import Examined, Finding, FindingKind, Limit, Place
from lutbench.inspection.subject import CODES
from lutbench.model.transforms import Array
from lutbench.tables.lut import lattice


class Monochrome(FindingKind):
    """Red, green and blue come out alike everywhere."""

    code = "monochrome"
    limit = Limit(0.5, "10-bit codes", "rounding to 10 bits may separate R, G and B by this much")
    severity = "info"
    seen = "a black-and-white picture"
    advice = "use it for judging light only"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes, limit = lut.subject.planes, self.limit_for(lut)
        value = float(np.ptp(planes, axis=0).max()) * CODES
        empty = float(np.ptp(planes)) < limit / CODES
        if lut.subject.lattice is not None and value <= limit and not empty:
            yield self.finding(lut, "it removes all colour", value)


FEW_FOLDS_SHARE = 0.005
"""Share of tetrahedra: strong looks fold fewer than this, at the edges of what they clip."""

LOOK = "usual in a strong look; look at saturated colours through it before you key or match"


class Fold(FindingKind):
    """Tetrahedra of the lattice are turned inside out."""

    code = "fold"
    needs_lattice = True
    limit = Limit(
        0.0,
        "share of tetrahedra",
        "a curve with a gamut conversion folds nothing by more than half a code",
    )
    cure = "folds"
    seen = "an edge or a ring where a saturated colour should run smoothly"
    advice = "do not key or match through it; smooth the LUT, or make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        folds = lut.folds
        if folds is not None and folds.share > self.limit_for(lut):
            message = (
                f"colours double back in {100 * folds.share:.3g} % of the table, "
                f"up to {folds.worst.value:.1f} codes deep"
            )
            few = folds.share < FEW_FOLDS_SHARE
            changed = {"severity": "info", "by_default": False, "advice": LOOK} if few else {}
            place = lut.at(folds.worst.node)
            yield self.finding(lut, message, folds.share, place=place, **changed)


class FoldInBlack(FindingKind):
    """As `Fold`, but only in the darkest corner."""

    code = "fold_in_black"
    needs_lattice = True
    limit = Limit(
        0.15, "share of tetrahedra", "gamut compression folds up to 7 % of the colours below black"
    )
    severity = "info"
    severest = "warning"
    seen = "coloured specks in deep shadow noise"
    advice = "none needed where that corner lies below black"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        folds = lut.folds
        if folds is None or folds.dark_share <= 0 or folds.share > Fold().limit_for(lut):
            return
        changed = {}
        if folds.dark_share > self.limit_for(lut):
            look = "check dark colours through it before you trust it"
            changed = {"severity": "warning", "advice": look}
        message = f"colours double back in {100 * folds.dark_share:.1f} % of the darkest corner"
        place = lut.at(folds.worst.node)
        yield self.finding(lut, message, folds.dark_share, place=place, **changed)


class HueShiftFound(FindingKind):
    """A hue turns as it gets more saturated."""

    code = "hue_shift"
    needs_lattice = True
    limit = Limit(12.0, "degrees", "about the step of hue from one colour name to the next")
    severity = "info"
    seen = "strong colours become other colours: a red light turns orange, a blue one violet"
    advice = "usual where colours outside the target are clipped; gamut compression turns them less"

    def hindrance(self, lut: Examined) -> str:
        known = lut.hue is not None
        return super().hindrance(lut) or ("" if known else "needs the source's curve and gamut")

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.hue is None:
            return
        from lutbench.inspection.hue import HUES

        turn, ramp, step = lut.hue.greatest()
        if abs(turn) <= self.limit_for(lut):
            return
        signal, output = lut.hue.signals[ramp, step], lut.hue.outputs[ramp, step]
        place = Place((), tuple(signal.tolist()), tuple(output.tolist()))
        message = f"{HUES[ramp]} turns by {abs(turn):.0f}° of hue as it gets more saturated"
        yield self.finding(lut, message, abs(turn), place=place)


SATURATED_SIGNAL = 0.25
"""Input signal: a colour is saturated if its channels differ by this much. Those of the BT.709
primaries at half of white differ by 0.17 to 0.42 in open log encodings, by 0.7 in video."""

MIDDLE = (0.25, 0.75)
"""Input signal: the place that is shown lies where pictures do, not at the foot of a log curve."""


class ClippedColours(FindingKind):
    """A gamut conversion that clips most saturated colours."""

    code = "clipped_colours"
    needs_lattice = True
    limit = Limit(0.5, "share of saturated colours", "more than half is most of them")
    severity = "info"
    seen = "saturated light is flat and its hue is wrong, and no tone LUT after it can restore it"
    advice = (
        "do not judge LEDs, neon or tail lights through it; use a LUT that compresses or maps "
        "the gamut, or one that converts tone and gamut in one step"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None:
            return
        inputs = lattice(lut.subject.size)
        apart = np.ptp(inputs, axis=-1)
        # The ends of the input scale come out at the ends of the output without being cut.
        inner = np.asarray(((inputs > 0) & (inputs < 1)).all(axis=-1))
        saturated = inner & (apart >= SATURATED_SIGNAL - 1e-9)
        cut = np.asarray(lut.subject.at_end.any(axis=0))
        if not saturated.any() or not cut[saturated].mean() > self.limit_for(lut):
            return
        if evidence_of(lut.subject).kind != "gamut":
            return
        share = float(cut[saturated].mean())
        shares = _by_hue(inputs[saturated], cut[saturated])
        most, least = max(shares, key=shares.__getitem__), min(shares, key=shares.__getitem__)
        message = (
            f"{100 * share:.0f} % of the saturated colours are clipped: "
            f"{100 * shares[most]:.0f} % of the {most}s, "
            f"{100 * shares[least]:.0f} % of the {least}s"
        )
        # Where it begins: the least saturated colour that is clipped.
        brightest = inputs.max(axis=-1)
        shown = inner & cut & (brightest >= MIDDLE[0]) & (brightest <= MIDDLE[1])
        first = np.argmin(np.where(shown if shown.any() else cut & saturated, apart, np.inf))
        node = tuple(int(each) for each in np.unravel_index(first, apart.shape))
        yield self.finding(lut, message, share, place=lut.at(node))


def _by_hue(inputs: Array, cut: Array) -> dict[str, float]:
    """The share that is clipped, by hue: three primaries and the three hues between them.

    `inputs` has shape (n, 3), `cut` shape (n,).
    """
    from lutbench.inspection.hue import HUES

    lowest = inputs.min(axis=-1, keepdims=True)
    scaled = (inputs - lowest) / np.ptp(inputs, axis=-1, keepdims=True)
    # The two upper channels make a primary where the middle one is nearer to the lowest.
    corner = scaled > 0.5
    corners = ((1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 1, 1), (0, 0, 1), (1, 0, 1))
    found = {}
    for name, each in zip(HUES, corners, strict=True):
        here = (corner == np.array(each, dtype=bool)).all(axis=-1)
        if here.any():
            found[name] = float(cut[here].mean())
    return found
