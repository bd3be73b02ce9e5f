"""The kind `manifest`: the files of a set are those that its manifest lists, byte for byte."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.model.catalogue import Catalogue
from lutbench.recipes.manifest import faults_of
from lutbench.recipes.table import Table

SHOWN = 4
"""Number of faults that are listed, to keep the message short; of the others, the number."""


@dataclass(frozen=True, kw_only=True)
class Manifest(Check):
    """See the module."""

    kind: ClassVar[str] = "manifest"
    file: str

    @classmethod
    def read(cls, table: Table, common: dict[str, Any], catalogue: Catalogue) -> Manifest:
        return cls(**common, file=table.text("file"))

    def run(self, context: Context) -> CheckResult:
        faults, count = faults_of(context.path(self.file))
        if not faults:
            return CheckResult(True, f"{count} files, all as they were written")
        more = f"; and {len(faults) - SHOWN} more" if len(faults) > SHOWN else ""
        return CheckResult(False, "; ".join(faults[:SHOWN]) + more)
