"""Findings on the table's values: rounding, noise, stray nodes, banding, smoothing, range."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import Examined, Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class CoarseValues(FindingKind):
    """All values are rounded to the codes of a low bit depth."""

    code = "banding"
    limit_code = "coarse_values"
    limit = Limit(1.1, "10-bit codes", "a table rounded to 10 bits has steps of one code")
    seen = "bands in skies and on walls, most of all after a grade"
    advice = "make it again with at least four decimals"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        step = lut.coarse_step
        if step > self.limit_for(lut):
            message = (
                f"the values were rounded to {lut.coarse_bits} bits: steps of {step:.1f} "
                "10-bit codes"
            )
            yield self.finding(lut, message, step)

    def spoils(self, lut: Examined) -> bool:
        """Whether the values are too coarse to look for noise and uneven steps."""
        return lut.coarse_step > self.limit_for(lut)


ROUNDED_NOISE_CODES = 0.3
"""10-bit codes (standard deviation): rounding to 10 bits makes noise of 0.29."""


class Noise(FindingKind):
    """The values are noisy."""

    code = "noise"
    limit = Limit(
        0.35, "10-bit codes", "gamut compression sampled at 17 nodes measures up to 0.28 codes"
    )
    cure = "noise"
    seen = "blotches of colour in smooth areas, and banding after a grade"
    advice = (
        "it was probably made from measurements or pictures: smooth it, or build it from its curves"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if self.noisy(lut):
            message = f"the values are noisy: {lut.noise:.2f} 10-bit codes (standard deviation)"
            yield self.finding(lut, message, lut.noise)

    def noisy(self, lut: Examined) -> bool:
        """Whether noise is found; a coarse table is not examined."""
        if CoarseValues().spoils(lut):
            return False
        rounding = ROUNDED_NOISE_CODES if lut.coarse_bits else 0.0
        return lut.noise > max(self.limit_for(lut), rounding)


class StrayNode(FindingKind):
    """One node differs from what its neighbours suggest."""

    code = "stray_node"
    limit = Limit(2.0, "10-bit codes", "crossing creases of strong looks measure up to 2 codes")
    cure = "stray"
    seen = "a spot of wrong colour wherever the picture has just that colour"
    advice = "one number in the file is probably wrong: make the file again, or smooth that node"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if Noise().noisy(lut):
            return
        spot = measures.out_of_plateau(lut.subject)
        # In an enlarged table the nodes of the smaller one stand out.
        if not CoarseValues().spoils(lut) and lut.enlarged_from is None:
            spot = max(spot, measures.stray(lut.subject))
        if spot.value > self.limit_for(lut) + lut.coarse_step:
            message = (
                f"one node is {spot.value:.1f} codes or more away from what its neighbours suggest"
            )
            yield self.finding(lut, message, spot.value, place=lut.at(spot.node))


MAX_STEP_RATIO = 1.5
"""The widest input step over the narrowest: with a shaper before the nodes it is larger."""


class Banding(FindingKind):
    """A step of the grey scale does not fit its neighbours."""

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
        if steps.max() > MAX_STEP_RATIO * steps.min() or CoarseValues().spoils(lut):
            return
        spots = [measures.unevenness(axis.outputs[:, channel]) for channel in range(3)]
        channel = int(np.argmax([each.value for each in spots]))
        spot = spots[channel]
        if spot.value <= self.limit_for(lut):
            return
        index = spot.node[0]
        before, here, after = np.abs(np.diff(axis.outputs[index - 1 : index + 3, channel])) * CODES
        message = (
            f"one step of the grey scale is {here:.1f} codes, the steps beside it {before:.1f} and "
            f"{after:.1f}"
        )
        yield self.finding(lut, message, spot.value, place=lut.on_axis(index))


class Enlarged(FindingKind):
    """The table was enlarged by linear or cubic interpolation."""

    code = "enlarged"
    limit = Limit(0.21, "10-bit codes", "what rounding to four decimals leaves of a straight line")
    severity = "info"
    seen = "the picture of the smaller table: what that lost does not come back"
    advice = "harmless, but it holds no more than the smaller table: ask for the original"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if (found := lut.enlarged_from) is None:
            return
        size, bend, interpolation = found
        if bend * CODES <= self.limit_for(lut):
            message = (
                f"it was enlarged from {size} nodes along an edge by {interpolation} interpolation"
            )
            yield self.finding(lut, message, bend * CODES)


def _unfit_for_smoothing(lut: Examined) -> bool:
    """Whether a table is too coarse or too noisy to say that it was smoothed, or is a 1D LUT."""
    return lut.subject.lattice is None or CoarseValues().spoils(lut) or Noise().noisy(lut)


class Smoothed(FindingKind):
    """The table was smoothed after it was sampled."""

    code = "smoothed"
    limit = Limit(
        0.2, "of a step", "where a table cuts off, corners that were not smoothed have 0.4 to 1"
    )
    severity = "info"
    seen = "clipping sets in softly; tone and colour are slightly off, most of all in a small table"
    advice = "harmless for viewing; where numbers matter, ask for the table before it was smoothed"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if self.tells(lut):
            assert lut.corner_left is not None
            message = "it was smoothed: every corner where it cuts off is rounded in the same way"
            yield self.finding(lut, message, lut.corner_left)

    def tells(self, lut: Examined) -> bool:
        """Whether the corners of the table say that it was smoothed."""
        if _unfit_for_smoothing(lut):
            return False
        return lut.corner_left is not None and lut.corner_left < self.limit_for(lut)


class SmoothedFaces(FindingKind):
    """As `Smoothed`, seen in the first step from the faces of the table."""

    code = "smoothed"
    limit_code = "smoothed_faces"
    limit = Limit(
        0.03, "of a step", "all faces of a table that was not smoothed never agree on so much"
    )
    severity = "info"
    seen = Smoothed.seen
    advice = Smoothed.advice

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if self.tells(lut) and not Smoothed().tells(lut):
            assert lut.faces_shortened is not None
            short = f"{100 * lut.faces_shortened:.0f} % too short"
            message = f"it was smoothed: the first step at every face is {short}"
            yield self.finding(lut, message, lut.faces_shortened)

    def tells(self, lut: Examined) -> bool:
        """Whether the faces of the table say that it was smoothed."""
        if _unfit_for_smoothing(lut):
            return False
        return lut.faces_shortened is not None and lut.faces_shortened >= self.limit_for(lut)


class SmoothedByGaussian(FindingKind):
    """As `Smoothed`, found by undoing a Gaussian."""

    code = "smoothed"
    limit_code = "smoothed_width"
    limit = Limit(0.35, "nodes", "a narrower Gaussian changes the first step by less than 2 %")
    severity = "info"
    seen = Smoothed.seen
    advice = Smoothed.advice

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if _unfit_for_smoothing(lut) or Smoothed().tells(lut) or SmoothedFaces().tells(lut):
            return
        width = lut.gaussian_undone
        if width is not None and width >= self.limit_for(lut):
            message = (
                f"it was smoothed, by a Gaussian of about {width:.1f} nodes: undoing it brings "
                "the first nodes at every face back in line"
            )
            yield self.finding(lut, message, width)


class OutOfRange(FindingKind):
    """Values under 0 or over 1."""

    code = "out_of_range"
    limit = Limit(0.05, "10-bit codes", "just over the rounding of four decimals")
    cure = "range"
    cured_on_request = True
    seen = "a monitor may clip them, show wrong colours, or refuse the file"
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
