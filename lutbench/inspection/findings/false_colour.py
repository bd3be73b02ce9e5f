"""A false-colour LUT: flat colours for bands of exposure."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit

FEWEST_BANDS = 3
"""Flat bands on the grey scale, from which it is taken for false colour."""

FLAT = 1e-6
"""Signal: steps narrower than this are flat."""

COLOURED = 0.05
"""Signal: the widest spread of R, G, B on the grey scale that a tint may have."""


class FalseColour(FindingKind):
    """The grey scale comes out as flat bands of different colours."""

    code = "false_colour"
    limit = Limit(0.4, "share of steps", "less than this flat is a look with a plateau")
    severity = "info"
    decides = True
    seen = "each level of exposure painted in a flat colour of its own"
    advice = "for judging exposure only; never grade or deliver through it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        outputs = lut.subject.neutral.outputs
        flat = (np.abs(np.diff(outputs, axis=0)) < FLAT).all(axis=1)
        marks = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]]).astype(np.int8)))
        runs = marks.reshape(-1, 2)
        coloured = sum(int(np.ptp(outputs[first]) > COLOURED) for first, _ in runs)
        share = float(flat.mean())
        if len(runs) >= FEWEST_BANDS and coloured >= 2 and share > self.limit_for(lut):
            message = f"false colour: greys come out as flat colours, in {len(runs)} bands or more"
            yield self.finding(lut, message, share)
