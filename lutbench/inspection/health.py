"""Health: what is wrong with a LUT, where, what a viewer sees of it, what to do.

Each finding has a code, a severity, the value that was measured and the limit it
was held against. Severities: ``info`` is a fact that is right for some LUTs and
wrong for others; ``warning`` is a defect that shows; ``error`` makes the LUT
useless as it is. The kinds of findings stand in `lutbench.inspection.findings`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import SEVERITIES, Examined, Finding, FindingKind, NotExamined
from lutbench.inspection.registry import Limits, kinds
from lutbench.inspection.subject import Subject

if TYPE_CHECKING:
    from lutbench.inspection.hue import HueShift


@dataclass(frozen=True)
class Health:
    """The examination of a subject: `findings`, worst first.

    `scene_white` is the input of a 90 % reflectance, where the source curve is
    known; `hue` is what happens to hues, where the gamut is known too.
    """

    subject: Subject
    limits: Limits = field(default_factory=Limits)
    scene_white: float | None = None
    hue: HueShift | None = None

    @cached_property
    def examined(self) -> Examined:
        """The subject with the measures that findings share."""
        return Examined(self.subject, self.limits.set, self.scene_white, self.hue)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Everything found, worst first, else in the order of the examination."""
        found: list[Finding] = []
        for kind in self._looked_for:
            found += kind.examine(self.examined)
        return tuple(sorted(found, key=lambda each: -SEVERITIES.index(each.severity)))

    @cached_property
    def decided_by(self) -> FindingKind | None:
        """The kind that says what the table is, so that nothing else is looked for."""
        deciding = (kind for kind in kinds() if kind.decides)
        return next((kind for kind in deciding if any(kind.examine(self.examined))), None)

    @property
    def _looked_for(self) -> tuple[FindingKind, ...]:
        return kinds() if self.decided_by is None else (self.decided_by,)

    @cached_property
    def not_examined(self) -> tuple[NotExamined, ...]:
        """What could not be looked for, together by the reason."""
        by_reason: dict[str, list[str]] = {}
        for kind in kinds():
            why = kind.hindrance(self.examined)
            if self.decided_by is not None and kind is not self.decided_by:
                why = f"nothing else is looked for in a table with {self.decided_by.code}"
            if why:
                by_reason.setdefault(why, []).append(kind.code)
        return tuple(NotExamined(tuple(codes), why) for why, codes in by_reason.items())

    @property
    def folds(self) -> measures.Folds | None:
        """The folds of the lattice; None for a 1D LUT."""
        return self.examined.folds
