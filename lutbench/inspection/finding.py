"""What a finding is, and what a kind of finding has: its code, its limit, `examine`."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np

from lutbench.inspection.examined import Examined, Place

Severity = Literal["info", "warning", "error"]
SEVERITIES: tuple[Severity, ...] = ("info", "warning", "error")


@dataclass(frozen=True)
class Limit:
    """The limit of a finding: its default, its unit, and why it is that."""

    default: float
    unit: str
    why: str


@dataclass(frozen=True)
class Finding:
    """One thing that was found; `value` and `limit` are in `unit`."""

    code: str
    severity: Severity
    message: str
    value: float
    limit: float | None
    unit: str
    seen: str
    advice: str
    place: Place | None = None
    cure: str = ""
    """The repair that mends it; empty where none does."""
    by_default: bool = False
    """Whether the repair is made without being asked for by name."""

    def to_data(self) -> dict[str, Any]:
        """The finding as plain data."""
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
            "seen": self.seen,
            "advice": self.advice,
            "place": self.place.to_data() if self.place else None,
            "cure": self.cure or None,
        }


@dataclass(frozen=True)
class NotExamined:
    """Findings that could not be looked for, by their codes, and why."""

    codes: tuple[str, ...]
    why: str

    def __str__(self) -> str:
        return f"{', '.join(self.codes)}: {self.why}"


class FindingKind(ABC):
    """A kind of finding. A subclass is one file: what it measures, its limit, its words.

    `code` names the finding; `limit_code` names the limit where it differs (two kinds may
    report one code). `unit` counts where there is no limit.
    """

    code: ClassVar[str]
    limit_code: ClassVar[str] = ""
    limit: ClassVar[Limit | None] = None
    unit: ClassVar[str] = ""
    severity: ClassVar[Severity] = "warning"
    decides: ClassVar[bool] = False
    """Whether nothing else is looked for once this is found: it says what the table is."""
    cure: ClassVar[str] = ""
    """The repair that mends it, as ``lutbench rework repair --only`` names it."""
    cured_on_request: ClassVar[bool] = False
    """Whether it may be meant, so that it is mended only when asked for by name."""
    seen: ClassVar[str]
    """What a viewer sees of it."""
    advice: ClassVar[str]
    """What to do about it."""

    @abstractmethod
    def examine(self, lut: Examined) -> Iterator[Finding]:
        """The findings of this kind in a LUT: none where it is sound."""

    def hindrance(self, lut: Examined) -> str:
        """Why this kind cannot be looked for in that LUT; empty where it can."""
        return ""

    @property
    def limit_name(self) -> str:
        """The name of the limit in ``--limit NAME=VALUE``."""
        return self.limit_code or self.code

    def limit_for(self, lut: Examined) -> float:
        """The limit in force: what the user set, else the default."""
        assert self.limit is not None
        return lut.limits.get(self.limit_name, self.limit.default)

    def finding(self, lut: Examined, message: str, value: float, **changed: Any) -> Finding:
        """A finding of this kind; `changed` are fields that differ from the kind's own."""
        fields: dict[str, Any] = {
            "code": self.code,
            "severity": self.severity,
            "message": message,
            "value": value,
            "limit": self.limit_for(lut) if self.limit else None,
            "unit": self.limit.unit if self.limit else self.unit,
            "seen": self.seen,
            "advice": self.advice,
            "cure": self.cure,
            "by_default": bool(self.cure) and not self.cured_on_request,
        }
        return Finding(**(fields | changed))


def worst_severity(findings: tuple[Finding, ...]) -> Severity | None:
    """The worst severity among the findings; None without any."""
    found = [each.severity for each in findings]
    return max(found, key=SEVERITIES.index) if found else None


def nearest(value: float, marks: tuple[float, ...]) -> float:
    """The distance to the nearest of some marks."""
    return float(np.min(np.abs(np.array(marks) - value)))
