"""A table that holds code values where signals from 0 to 1 belong."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit

TOPS = {255: 8, 1023: 10, 4095: 12, 65535: 16}
"""The highest code value of a full-range signal, and its bits."""

NEAR_TOP = 0.002
"""Share of the top that a table with decimals may end below it: rounding of a writer."""

INTEGER = 1e-6
"""How far from a whole number a value may be and still count as one."""


def code_scale(planes: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> int | None:
    """The top of the code scale that the values of a table are on; None for signals.

    Whole numbers beyond 2 are codes whatever the greatest is; with decimals the
    greatest has to be the top of a scale, as a scene-linear table reaches high values too.

    >>> code_scale(np.array([0.0, 512.0, 940.0])), code_scale(np.array([0.0, 0.5, 1.0]))
    (1023, None)
    """
    most = float(planes.max())
    if most <= 2:
        return None
    top = next((each for each in TOPS if most <= each * (1 + NEAR_TOP)), None)
    if top is None:
        return None
    whole = float(np.abs(planes - np.rint(planes)).max()) <= INTEGER
    return top if whole or most >= top * (1 - NEAR_TOP) else None


class IntegerValues(FindingKind):
    """The values are codes of some bit depth."""

    code = "integer_values"
    limit = Limit(2.0, "signal", "no display signal reaches twice its white")
    severity = "error"
    decides = True
    cure = "scale"
    seen = "a white frame: every value is far above white"
    advice = "divide the table by the top of its scale"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes = lut.subject.planes
        if float(planes.max()) <= self.limit_for(lut):
            return
        if (top := code_scale(planes)) is None:
            return
        message = (
            f"the values are {TOPS[top]}-bit codes, up to {planes.max():g}, "
            "where signals from 0 to 1 belong"
        )
        yield self.finding(lut, message, float(planes.max()))
