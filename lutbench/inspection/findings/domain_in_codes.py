"""A domain given in code values where signals from 0 to 1 belong."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind
from lutbench.tables.code_scale import TOPS, domain_scale


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
