"""A false-colour LUT: bands of exposure, each in a colour of its own."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit

JUMP = 0.08
"""Signal: R − G or B − G changes by more from one grey node to the next at the edge of a band."""

CALM = 0.01
"""Signal: the median change of R − G and B − G within bands; noise has more everywhere."""


class FalseColour(FindingKind):
    """The colour of the grey scale jumps from band to band."""

    code = "false_colour"
    limit = Limit(3.0, "jumps", "no look changes the colour of grey in three jumps or more")
    severity = "info"
    decides = True
    seen = "each level of exposure painted in a colour of its own"
    advice = "for judging exposure only; never grade or deliver through it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        outputs = lut.subject.neutral.outputs
        chroma = outputs[:, [0, 2]] - outputs[:, [1]]
        steps = np.abs(np.diff(chroma, axis=0)).max(axis=1)
        over = steps > JUMP
        jumps = int(over[0]) + int((over[1:] & ~over[:-1]).sum())  # those in a row count as one
        calm = float(np.median(steps[steps <= JUMP])) if (steps <= JUMP).any() else 1.0
        if jumps >= self.limit_for(lut) and calm < CALM:
            message = f"false colour: the colour of grey jumps {jumps} times from black to white"
            yield self.finding(lut, message, float(jumps))
