"""Steps of the grey scale that are wider or narrower than their neighbours."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.findings.coarse import CoarseValues
from lutbench.inspection.subject import CODES

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
