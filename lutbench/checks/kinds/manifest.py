"""The kind `manifest`: the files of a set are those that its manifest lists, byte for byte."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.recipes.manifest import faults_of

SHOWN_FAULTS = 4
"""Number of faults that are listed, to keep the message short; of the others, the number."""


@dataclass(frozen=True, kw_only=True)
class ManifestCheck(Check):
    """The SHA-256 of a set's files."""

    kind: ClassVar[str] = "manifest"
    file: str

    def run(self, context: Context) -> CheckResult:
        faults, count = faults_of(context.path(self.file))
        if not faults:
            return CheckResult(True, f"{count} files, all as they were written")
        more = f"; and {len(faults) - SHOWN_FAULTS} more" if len(faults) > SHOWN_FAULTS else ""
        return CheckResult(False, "; ".join(faults[:SHOWN_FAULTS]) + more)
