"""The kind `bytes`: a recipe still builds the same file, byte for byte."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any, ClassVar

from lutbench import files
from lutbench.checks.base import Check, CheckResult, Context, one_of
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.formats.cube_write import format_cube
from lutbench.formats.registry import MAX_BYTES
from lutbench.model.catalogue import Catalogue
from lutbench.recipes.make import make
from lutbench.recipes.schema import read_recipe
from lutbench.recipes.subjects import recipe_job
from lutbench.recipes.table import Table


@dataclass(frozen=True, kw_only=True)
class Bytes(Check):
    """See the module; the expected file is given by name or by its SHA-256."""

    kind: ClassVar[str] = "bytes"
    lut: str
    against: str
    stored: str

    @classmethod
    def read(cls, table: Table, common: dict[str, Any], catalogue: Catalogue) -> Bytes:
        against, stored = one_of(table, ("file", "sha256"))
        lut = table.text("lut")
        if not lut.partition("#")[0].lower().endswith(".toml"):
            raise DefinitionError(
                f"{lut!r} is not a recipe's LUT", where=table.at("lut"), accepted="RECIPE.toml#NAME"
            )
        if against == "sha256" and (
            len(stored) != 64 or not set(stored.lower()) <= set("0123456789abcdef")
        ):
            raise DefinitionError(
                "is not a SHA-256", where=table.at("sha256"), accepted="64 hexadecimal digits"
            )
        return cls(**common, lut=lut, against=against, stored=stored)

    def run(self, context: Context) -> CheckResult:
        name, _, wanted = self.lut.partition("#")
        recipe = read_recipe(context.path(name), context.catalogue)
        job = recipe_job(recipe, wanted, self.lut)
        made = format_cube(make(job, recipe.digest), job.decimals, signed=True)
        if self.against == "sha256":
            digest = hashlib.sha256(made).hexdigest()
            if digest == self.stored.lower():
                return CheckResult(True, f"SHA-256 {digest[:16]}…, as stored")
            return CheckResult(False, f"SHA-256 is {digest}, stored {self.stored.lower()}")
        stored = files.read_bytes(context.path(self.stored), limit=MAX_BYTES)
        if not stored:
            raise LutbenchError("is empty", where=context.path(self.stored))
        if made == stored:
            return CheckResult(True, f"{len(made)} bytes, all the same")
        show = ("lutbench", "compare", context.shown(self.lut), context.shown(self.stored))
        return CheckResult(False, _first_difference(made, stored), show=show)


def _first_difference(made: bytes, stored: bytes) -> str:
    """The first line that differs, in words."""
    built, kept = made.split(b"\n"), stored.split(b"\n")
    for number, (one, other) in enumerate(zip(built, kept, strict=False), 1):
        if one != other:
            return (
                f"line {number} differs: built {_shown(one)}, stored {_shown(other)}"
                f" ({len(made)} and {len(stored)} bytes)"
            )
    return f"{len(built)} lines are built, {len(kept)} are stored"


def _shown(line: bytes) -> str:
    text = line.decode("utf-8", "replace")
    return repr(text if len(text) <= 60 else text[:60] + "…")
