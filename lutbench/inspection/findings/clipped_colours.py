"""Saturated colours that a gamut conversion cuts off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.finding import Examined, Finding, FindingKind, Limit
from lutbench.inspection.findings.table import NO_LATTICE
from lutbench.inspection.hue import HUES
from lutbench.inspection.kind import evidence_of
from lutbench.model.transforms import Array
from lutbench.tables.lut import lattice

SATURATED = 0.25
"""Of the input scale: channels at least this far apart make a saturated colour. The primaries of
BT.709 at half of white lie 0.17 to 0.42 apart on open log encodings, 0.7 on video."""

MIDDLE = (0.25, 0.75)
"""Of the input scale: a place to show lies where pictures are, not in the foot of a log curve."""


class ClippedColours(FindingKind):
    """A gamut conversion that holds most saturated colours at an end of the scale."""

    code = "clipped_colours"
    limit = Limit(0.5, "share of saturated colours", "over a half it is most of them")
    severity = "info"
    seen = "saturated light is flat and its hue is off, and no LUT for tone brings it back"
    advice = (
        "do not judge LEDs, neon or tail lights through it; use a LUT that compresses or maps "
        "the gamut, or one that converts tone and gamut in one step"
    )

    def hindrance(self, lut: Examined) -> str:
        return NO_LATTICE if lut.subject.lattice is None else ""

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None:
            return
        inputs = lattice(lut.subject.size)
        apart = np.ptp(inputs, axis=-1)
        # The ends of the input scale come out at the ends of the output without being cut.
        inner = np.asarray(((inputs > 0) & (inputs < 1)).all(axis=-1))
        saturated = inner & (apart >= SATURATED - 1e-9)
        cut = np.asarray(lut.subject.at_end.any(axis=0))
        if not saturated.any() or not cut[saturated].mean() > self.limit_for(lut):
            return
        if evidence_of(lut.subject).kind != "gamut":
            return
        share = float(cut[saturated].mean())
        shares = _by_hue(inputs[saturated], cut[saturated])
        most, least = max(shares, key=shares.__getitem__), min(shares, key=shares.__getitem__)
        message = (
            f"{share:.0%} of the saturated colours are cut off at an end of the scale: "
            f"{shares[most]:.0%} of the {most}s, {shares[least]:.0%} of the {least}s"
        ).replace("%", " %")
        # Where it begins: the least saturated colour that is cut off.
        brightest = inputs.max(axis=-1)
        shown = inner & cut & (brightest >= MIDDLE[0]) & (brightest <= MIDDLE[1])
        first = np.argmin(np.where(shown if shown.any() else cut & saturated, apart, np.inf))
        node = tuple(int(each) for each in np.unravel_index(first, apart.shape))
        yield self.finding(lut, message, share, place=lut.at(node))


def _by_hue(inputs: Array, cut: Array) -> dict[str, float]:
    """The share that is cut off of each of six hues: three primaries and what lies between."""
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
