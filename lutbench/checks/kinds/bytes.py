"""The kind `bytes`: a recipe still builds the same file, byte for byte."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import ClassVar

from lutbench import files
from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.settings import Sha256, refuse_no_digest
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.formats.cube_write import format_cube
from lutbench.formats.registry import MAX_BYTES
from lutbench.recipes.make import make
from lutbench.recipes.schema import read_recipe
from lutbench.recipes.subjects import recipe_job


@dataclass(frozen=True, kw_only=True)
class BytesCheck(Check):
    """A recipe's LUT, byte for byte; against `file` or `sha256`."""

    kind: ClassVar[str] = "bytes"
    lut: str
    """RECIPE.toml#NAME"""
    file: str | None = None
    sha256: Sha256 | None = None

    def __post_init__(self) -> None:
        self.only_one("file", "sha256")
        if not self.lut.partition("#")[0].lower().endswith(".toml"):
            raise DefinitionError(
                f"{self.lut!r} is not a recipe's LUT",
                where=self.at("lut"),
                accepted="RECIPE.toml#NAME",
            )
        refuse_no_digest(self.sha256, self.at("sha256"))

    def run(self, context: Context) -> CheckResult:
        name, _, wanted = self.lut.partition("#")
        recipe = read_recipe(context.path(name), context.catalogue)
        job = recipe_job(recipe, wanted, self.lut)
        made = format_cube(make(job, recipe.digest), job.decimals, signed=True)
        if self.file is None:
            digest, wanted = hashlib.sha256(made).hexdigest(), str(self.sha256).lower()
            if digest == wanted:
                return CheckResult(True, f"SHA-256 {digest[:16]}…, as stored")
            return CheckResult(False, f"SHA-256 is {digest}, stored {wanted}")
        path = context.path(self.file)
        stored = files.read_bytes(path, limit=MAX_BYTES)
        if not stored:
            raise LutbenchError("is empty", where=path)
        if made == stored:
            return CheckResult(True, f"{len(made)} bytes, all the same")
        show = ("lutbench", "compare", context.shown(self.lut), context.shown(self.file))
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
