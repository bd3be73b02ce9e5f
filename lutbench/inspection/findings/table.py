"""What the table is made of: its steps, noise, folds, and the colours in it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import (
    Examined,
    Finding,
    FindingKind,
    Limit,
    Place,
)
from lutbench.inspection.subject import CODES


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


EVEN = 1.5
"""The widest input step over the narrowest: above it a shaper stands before the nodes."""


class Banding(FindingKind):
    """A step of grey does not fit its neighbours."""

    code = "banding"
    limit = Limit(
        0.3,
        "of a step",
        "a tone curve sampled at 17 nodes has steps up to 22 % off their neighbours",
    )
    seen = "a line across skies, walls and faces where brightness should run smoothly"
    advice = "smooth the tone curve, or build it again from known curves"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        steps = np.diff(axis.inputs)
        if steps.max() > EVEN * steps.min() or CoarseValues().spoils(lut):
            return
        spots = [measures.unevenness(axis.outputs[:, channel]) for channel in range(3)]
        channel = int(np.argmax([each.value for each in spots]))
        spot = spots[channel]
        if spot.value <= self.limit_for(lut):
            return
        index = spot.node[0]
        width = abs(float(axis.outputs[index + 1, channel] - axis.outputs[index, channel])) * CODES
        message = (
            f"a step of grey is {width:.1f} codes, {100 * spot.value:.0f} % off its neighbours"
        )
        yield self.finding(lut, message, spot.value, place=lut.on_axis(index))


class Enlarged(FindingKind):
    """Between every second (third, fourth…) node the table is straight."""

    code = "enlarged"
    limit = Limit(0.21, "10-bit codes", "what rounding to four decimals leaves of a straight line")
    severity = "info"
    seen = "no more than the smaller table shows: what it lost is not brought back"
    advice = "no harm in it, but its size promises more than it holds: ask for the original"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if (found := lut.enlarged_from) is None:
            return
        size, bend = found
        if bend * CODES <= self.limit_for(lut):
            message = f"it was enlarged from {size} nodes an edge by straight interpolation"
            yield self.finding(lut, message, bend * CODES)


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


class Monochrome(FindingKind):
    """Red, green and blue come out alike everywhere."""

    code = "monochrome"
    limit = Limit(0.5, "10-bit codes", "rounding to 10 bits may part R, G and B by this much")
    severity = "info"
    seen = "a black-and-white picture"
    advice = "right for judging light alone, wrong for everything else"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes, limit = lut.subject.planes, self.limit_for(lut)
        value = float(np.ptp(planes, axis=0).max()) * CODES
        empty = float(np.ptp(planes)) < limit / CODES
        if lut.subject.lattice is not None and value <= limit and not empty:
            yield self.finding(lut, "all colour is taken out", value)


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
        from lutbench.inspection.hue import HUES

        turn, ramp, step = lut.hue.greatest()
        if abs(turn) <= self.limit_for(lut):
            return
        signal, output = lut.hue.signals[ramp, step], lut.hue.outputs[ramp, step]
        place = Place((), tuple(signal.tolist()), tuple(output.tolist()))
        message = f"{HUES[ramp]} turns by {abs(turn):.0f}° of hue as it gets more saturated"
        yield self.finding(lut, message, abs(turn), place=place)
