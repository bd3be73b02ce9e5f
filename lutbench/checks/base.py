"""What every check has and gives."""

from __future__ import annotations

import os
import shlex
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from lutbench import files
from lutbench.checks.limits import CheckFigure
from lutbench.errors import DefinitionError
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Encoding
from lutbench.recipes.subjects import NamedTransform, open_subject
from lutbench.recipes.table import Table


@dataclass(frozen=True, eq=False)
class Context:
    """Where a suite stands and what it may do."""

    suite: Path
    catalogue: Catalogue
    record: bool = False
    """Whether baselines and stored pictures are to be made rather than checked."""
    force: bool = False
    """Whether those that exist may be replaced."""
    start: str = field(default_factory=os.getcwd)
    """The folder that the user stands in: commands are shown as they are typed there."""

    @property
    def folder(self) -> Path:
        """The folder that paths in the suite are relative to."""
        return self.suite.parent

    def path(self, name: str) -> Path:
        """A path of the suite, inside its folder unless reading outside is allowed."""
        return files.beside(self.folder, name, self.suite, "suite")

    def place(self, name: str, where: str) -> Path:
        """A path that is written when recording: a suite writes into its own folder only."""
        return files.inside(self.folder, name, where, "folder of the suite")

    def subject(self, text: str) -> NamedTransform:
        """A subject that the suite names."""
        return open_subject(text, self.catalogue, self.folder, self.path)

    def shown(self, text: str) -> str:
        """A path or subject of the suite, as it is named from the current folder."""
        file, mark, rest = text.partition("#")
        path = self.folder / file
        return os.path.relpath(path, self.start) + mark + rest if path.exists() else text

    @property
    def itself(self) -> tuple[str, ...]:
        """The command that runs the suite."""
        return ("lutbench", "verify", os.path.relpath(self.suite, self.start))

    def shows(self, command: str, side: NamedTransform, *options: str) -> tuple[str, ...]:
        """A command on a LUT's file; nothing for a recipe or a pipeline, which it does not take."""
        if side.path is None or side.path.suffix.lower() == ".toml":
            return ()
        return ("lutbench", command, *options, self.shown(side.name))


@dataclass(frozen=True)
class CheckResult:
    """What a check found: whether it holds, by how much, where, and what shows it."""

    passed: bool
    summary: str
    figures: tuple[CheckFigure, ...] = ()
    where: str = ""
    show: tuple[str, ...] = ()
    """A command line that shows the finding, word by word."""
    recorded: str = ""
    """The file that was recorded, where one was."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """A check of a suite. A subclass is one kind; its fields are its settings, not yet tried."""

    name: str
    where: str = field(default="", repr=False)
    tags: tuple[str, ...] = ()
    reason: str = ""
    kind: ClassVar[str] = ""

    @property
    def recording(self) -> str:
        """The file that recording writes, as the suite names it; none for most kinds."""
        return ""

    @classmethod
    def read(cls, table: Table, common: dict[str, Any], catalogue: Catalogue) -> Check:
        """The check of this kind that `table` describes; `common` are the fields all have."""
        raise NotImplementedError

    def run(self, context: Context) -> CheckResult:
        """Do the check.

        Raises
        ------
        LutbenchError
            When it cannot be done, or would compare nothing: the check then fails.
        """
        raise NotImplementedError


def command_line(show: tuple[str, ...]) -> str:
    """The words of a command as one line to paste."""
    return shlex.join(show)


def read_end(table: Table | None, catalogue: Catalogue) -> Encoding | None:
    """An encoding ``{curve = ..., gamut = ..., range = ...}``, or None where there is no table."""
    if table is None:
        return None
    curve = catalogue.curve(table.text("curve"), table.at("curve"))
    encoding = Encoding(
        curve,
        catalogue.gamut(table.text("gamut", "BT.709"), table.at("gamut")),
        table.choice("range", ("full", "legal"), curve.formula_codes),
        table.choice("bits", (8, 10, 12, 16), 10),
    )
    table.done()
    return encoding


def read_names(table: Table, key: str, default: tuple[str, ...] | None) -> tuple[str, ...] | None:
    """A list of texts; one text is a list of one."""
    value = table.take(key)
    if value is None:
        return default
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise DefinitionError("is not a list of texts", where=table.at(key), accepted='["a", "b"]')
    return tuple(names)


def one_of(table: Table, keys: tuple[str, ...]) -> tuple[str, str]:
    """The one key of `keys` that is given, and its text."""
    given = [key for key in keys if key in table]
    if len(given) != 1:
        raise DefinitionError(
            f"{len(given) or 'none'} of {', '.join(keys)} given",
            where=table.where,
            accepted="one of them",
        )
    table.know(*keys)
    return given[0], table.text(given[0])
