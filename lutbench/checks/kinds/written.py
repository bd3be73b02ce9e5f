"""The kind `written`: a LUT's table was not edited, rounded or replaced since it was written.

A comment in the file holds the digest of its table; `recipe` may name the digest of the recipe
that it must come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.errors import DefinitionError
from lutbench.formats.digest import written
from lutbench.formats.open import read_lut_file
from lutbench.model.catalogue import Catalogue
from lutbench.recipes.table import Table


@dataclass(frozen=True, kw_only=True)
class WrittenCheck(Check):
    """See the module."""

    kind: ClassVar[str] = "written"
    lut: str
    recipe: str

    @classmethod
    def read(cls, table: Table, common: dict[str, Any], catalogue: Catalogue) -> WrittenCheck:
        recipe = table.text("recipe", "").lower()
        if recipe and (len(recipe) != 64 or not set(recipe) <= set("0123456789abcdef")):
            raise DefinitionError(
                "is not a SHA-256", where=table.at("recipe"), accepted="64 hexadecimal digits"
            )
        return cls(**common, lut=table.text("lut"), recipe=recipe)

    def run(self, context: Context) -> CheckResult:
        path = context.path(self.lut)
        if not path.is_file():
            raise DefinitionError(
                "is not a file, so it was never written", where=self.where, accepted="a LUT file"
            )
        read = read_lut_file(path)
        found = written(read.lut, read.comments)
        if found is None:
            return CheckResult(False, "the file does not hold the digest of its table")
        if not found.same:
            return CheckResult(
                False, found.words, show=("lutbench", "inspect", context.shown(self.lut))
            )
        if self.recipe and found.recipe != self.recipe:
            named = found.recipe or "none"
            return CheckResult(False, f"it comes from the recipe {named}, not from {self.recipe}")
        return CheckResult(True, found.words)
