"""The kinds of findings, their limits, and the examination: what is wrong with a LUT, and where."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from lutbench import long_work
from lutbench.errors import LutbenchError
from lutbench.given import double, named
from lutbench.inspection.finding import (
    SEVERITIES,
    Examined,
    Finding,
    FindingKind,
    Limit,
    NotExamined,
)
from lutbench.inspection.findings import colours, faults, grey, table
from lutbench.inspection.subject import Subject

if TYPE_CHECKING:
    from lutbench.inspection.hue import HueShift
    from lutbench.inspection.lattice import Folds

_kinds: list[FindingKind] = [
    faults.IntegerValues(),
    faults.DomainInCodes(),
    faults.Constant(),
    faults.FalseColourBands(),
    faults.StuckValues(),
    faults.PaintedBands(),
    faults.AxisOrder(),
    faults.ChannelOrder(),
    faults.InverseOfTitle(),
    faults.DuplicateNodes(),
    grey.NonMonotonic(),
    grey.Tint(),
    grey.LegalRangeOutput(),
    grey.LegalWhite(),
    grey.LegalRangeInput(),
    grey.ClippedHighlights(),
    grey.ClippedShadows(),
    colours.ClippedColours(),
    grey.LiftedBlack(),
    colours.Monochrome(),
    table.OutOfRange(),
    colours.Fold(),
    colours.FoldInBlack(),
    table.CoarseValues(),
    table.Noise(),
    table.StrayNode(),
    table.Banding(),
    table.Enlarged(),
    table.Smoothed(),
    table.SmoothedFaces(),
    table.SmoothedByGaussian(),
    colours.HueShiftFound(),
]
"""In the order of the examination: findings that decide what a file is come first."""


def kinds() -> tuple[FindingKind, ...]:
    """All kinds of findings, in the order of the examination."""
    return tuple(_kinds)


def register(kind: FindingKind) -> None:
    """Add a kind of finding to every examination from now on.

    Raises
    ------
    LutbenchError
        When a kind with a limit of that name is registered already.
    """
    if any(each.limit_name == kind.limit_name for each in _kinds):
        raise LutbenchError(
            f"a finding named {kind.limit_name!r} exists already", accepted="another code"
        )
    _kinds.append(kind)


def unregister(kind: FindingKind) -> None:
    """Remove a kind that `register` added."""
    _kinds.remove(kind)


def codes() -> tuple[str, ...]:
    """The codes of all findings, each once."""
    return tuple(dict.fromkeys(each.code for each in _kinds))


def all_limits() -> dict[str, Limit]:
    """The limits with their defaults and reasons, by name."""
    return {each.limit_name: each.limit for each in _kinds if each.limit is not None}


@dataclass(frozen=True)
class Limits:
    """The limits in force: the defaults, replaced by those that were set."""

    set: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        known = all_limits()
        for name, value in self.set.items():
            most = known[named("finding with a limit", name, known)].most
            found = double(value)
            if not 0 <= found < most:
                shown = f"{value!r:.40}" if math.isnan(found) else f"{found:g}"
                accepted = "0 or more" if most == math.inf else f"0 to less than {most:g}"
                raise LutbenchError(
                    f"a limit of {shown} for {name} is not allowed", accepted=accepted
                )
        limits = {named("", name, known): float(value) for name, value in self.set.items()}
        object.__setattr__(self, "set", limits)

    def __getitem__(self, name: str) -> float:
        return self.set.get(name, all_limits()[name].default)

    @classmethod
    def parse(cls, texts: tuple[str, ...] | list[str]) -> Limits:
        """Limits of texts such as ``tint=2.5``.

        >>> Limits.parse(["tint=2.5"])["tint"]
        2.5
        """
        found: dict[str, float] = {}
        for text in texts:
            name, sign, number = text.partition("=")
            try:
                found[name.strip()] = float(number)
            except ValueError:
                sign = ""
            if not sign:
                raise LutbenchError(f"{text!r} sets no limit", accepted="CODE=VALUE, as tint=2.5")
        return cls(found)


@dataclass(frozen=True)
class Health:
    """The examination of a subject: `findings`, worst first.

    `scene_white` is the input of a 90 % reflectance, where the source curve is
    known; `hue` is the shift of hues, where the gamut is known too.
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
        """Everything found, worst first; of the same severity in the order of the examination."""
        found: list[Finding] = []
        looked_for = self._looked_for
        for number, kind in enumerate(looked_for):
            long_work.report("examining", number / len(looked_for))
            found += kind.examine(self.examined)
        return tuple(sorted(found, key=lambda each: -SEVERITIES.index(each.severity)))

    @cached_property
    def decided_by(self) -> FindingKind | None:
        """The finding that makes all others pointless (see `FindingKind.decides`), else None."""
        deciding = (kind for kind in kinds() if kind.decides)
        return next((kind for kind in deciding if any(kind.examine(self.examined))), None)

    @property
    def _looked_for(self) -> tuple[FindingKind, ...]:
        return kinds() if self.decided_by is None else (self.decided_by,)

    @cached_property
    def not_examined(self) -> tuple[NotExamined, ...]:
        """What could not be looked for, grouped by the reason."""
        by_reason: dict[str, list[str]] = {}
        for kind in kinds():
            why = kind.hindrance(self.examined)
            if self.decided_by is not None and kind is not self.decided_by:
                why = f"nothing else is looked for in a table with {self.decided_by.code}"
            if why:
                by_reason.setdefault(why, []).append(kind.code)
        return tuple(NotExamined(tuple(codes), why) for why, codes in by_reason.items())

    @property
    def folds(self) -> Folds | None:
        """The folds of the lattice; None for a 1D LUT."""
        return self.examined.folds
