"""The kind `health`: ``lutbench inspect`` has no findings of the given codes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

import numpy as np

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.judging import in_codes
from lutbench.checks.limits import CheckFigure, checked_limit
from lutbench.checks.settings import End
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.inspection.finding import SEVERITIES, Place, Severity
from lutbench.inspection.inspection import Inspection, inspect
from lutbench.inspection.registry import all_limits, codes, kinds
from lutbench.recipes import keys

Codes = Annotated[tuple[str, ...], str | list[Annotated[str, keys.names(codes)]]]


@dataclass(frozen=True, kw_only=True)
class HealthCheck(Check):
    """What `inspect` must not find."""

    kind: ClassVar[str] = "health"
    lut: str
    forbid: Codes | None = None
    """Findings that must not occur; instead of `allow` and `severity`."""
    allow: Codes = ()
    """Findings that may occur."""
    severity: Annotated[Severity | None, keys.usual("warning")] = None
    """Findings of this severity or worse must not occur."""
    limits: Annotated[dict[str, Any] | None, keys.limits(all_limits)] = None
    source: End = None
    target: End = None

    def __post_init__(self) -> None:
        known_names = {"forbid": codes(), "allow": codes(), "limits": tuple(all_limits())}
        for key, known in known_names.items():
            self.respell(key, "finding", known)
        if self.forbid is not None and (self.allow or self.severity is not None):
            raise DefinitionError(
                "forbid is given together with allow or severity",
                where=self.where,
                accepted="only forbid, or allow and severity",
            )

    @property
    def least(self) -> Severity:
        """The mildest severity that counts."""
        return self.severity or ("warning" if self.forbid is None else "info")

    def run(self, context: Context) -> CheckResult:
        looked_for = self._looked_for()
        side = context.subject(self.lut)
        source, target = self.source or side.source, self.target or side.target
        found = inspect(
            side.transform,
            source_curve=source.curve if source else None,
            source_gamut=source.gamut if source else None,
            source_range=source.range if source else None,
            target_range=target.range if target else None,
            target_curve=target.curve if target else None,
            target_gamut=target.gamut if target else None,
            limits=self._limits(),
            catalogue=context.catalogue,
        )
        self._refuse_unexamined(found)
        bad = [
            each
            for each in found.findings
            if self._counts(each.code) and self._is_grave(each.severity)
        ]
        if not bad:
            return CheckResult(True, f"none of {len(looked_for)} kinds of findings")
        place = next((each.place for each in bad if each.place is not None), None)
        return CheckResult(
            False,
            "; ".join(f"{each.code}: {each.message}" for each in bad),
            tuple(
                CheckFigure(each.code, each.value, each.limit or 0.0, each.message, each.unit)
                for each in bad
            ),
            where=_in_words(place) if place else "",
            show=context.shows("inspect", side),
        )

    def _limits(self) -> dict[str, float]:
        """The limits that are set, each of a finding that is looked for."""
        known = all_limits()
        used = {each.limit_name for each in kinds() if self._counts(each.code)}
        limits = {}
        for name, value in (self.limits or {}).items():
            where = self.at(f"limits, {name}")
            if name not in used:
                raise DefinitionError(
                    "is not looked for, so its limit checks nothing",
                    where=where,
                    accepted="a limit of a finding that must not occur",
                )
            limits[name] = checked_limit(value, where, known[name].most)
        return limits

    def _looked_for(self) -> set[str]:
        """The codes of the findings that let the check fail; without any it is refused."""
        left = [each for each in kinds() if self._counts(each.code)]
        if not left:
            raise DefinitionError(
                "no finding is looked for", where=self.where, accepted=", ".join(codes())
            )
        found = {each.code for each in left if self._is_grave(each.severest or each.severity)}
        if found:
            return found
        names = ", ".join(dict.fromkeys(each.code for each in left))
        raise DefinitionError(
            f"the check cannot fail: none of {names} is ever of severity {self.least!r}",
            where=self.where,
            accepted="a lower severity, or fewer codes in allow",
        )

    def _counts(self, code: str) -> bool:
        return code in self.forbid if self.forbid is not None else code not in self.allow

    def _is_grave(self, severity: Severity) -> bool:
        return SEVERITIES.index(severity) >= SEVERITIES.index(self.least)

    def _refuse_unexamined(self, found: Inspection) -> None:
        """Refuse a result in which a finding that is forbidden by name was not examined."""
        for missed in found.not_examined:
            unseen = sorted(set(missed.codes) & set(self.forbid or ()))
            if unseen:
                raise LutbenchError(
                    f"{unseen[0]} cannot be examined: {missed.why}",
                    where=self.where,
                    accepted="source = {...}, or a LUT that can have it",
                )


def _in_words(place: Place) -> str:
    given, out = (in_codes(np.array(values)) for values in (place.input, place.output))
    node = f"node {list(place.node)}: " if place.node else ""
    return f"{node}in {given}, out {out} (10 bit)"
