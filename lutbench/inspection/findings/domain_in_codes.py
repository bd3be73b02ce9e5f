"""A domain given in code values where signals from 0 to 1 belong."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind
from lutbench.inspection.findings.integer_values import TOPS


def domain_scale(domain: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> int | None:
    """The top of the code scale that a domain ends on; None for another.

    >>> domain_scale(np.array([[0.0, 0, 0], [1023.0, 1023, 1023]]))
    1023
    """
    low, high = domain
    if not (low == low[0]).all() or not (high == high[0]).all() or low[0] < 0 or low[0] > 64:
        return None
    return int(high[0]) if high[0] in TOPS else None


class DomainInCodes(FindingKind):
    """The input is expected as codes of some bit depth."""

    code = "domain_in_codes"
    unit = "top of the domain"
    severity = "error"
    decides = True
    cure = "domain"
    seen = "a black frame: every signal from 0 to 1 falls on the first nodes of the table"
    advice = "set the domain to 0..1; or divide the pixels, where codes are what goes in"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if (top := domain_scale(lut.subject.domain)) is not None:
            low = lut.subject.domain[0, 0]
            message = (
                f"the domain is given in {TOPS[top]}-bit codes, {low:g} to {top}, "
                "where signals from 0 to 1 go in"
            )
            yield self.finding(lut, message, float(top))
