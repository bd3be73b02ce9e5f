"""The kind `written`: a LUT's table was not edited, rounded or replaced since it was written.

A comment in the file holds the digest of its table; `recipe` may name the digest of the recipe
that it must come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.settings import Sha256, refuse_no_digest
from lutbench.errors import DefinitionError
from lutbench.formats.comments import written
from lutbench.formats.registry import read_lut_file


@dataclass(frozen=True, kw_only=True)
class WrittenCheck(Check):
    """Whether a file's table is still the one that was written."""

    kind: ClassVar[str] = "written"
    lut: str
    recipe: Sha256 | None = None
    """SHA-256 of the recipe that it must come from."""

    def __post_init__(self) -> None:
        refuse_no_digest(self.recipe, self.at("recipe"))

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
        wanted = (self.recipe or "").lower()
        if wanted and found.recipe != wanted:
            named = found.recipe or "none"
            return CheckResult(False, f"it comes from the recipe {named}, not from {wanted}")
        return CheckResult(True, found.words)
