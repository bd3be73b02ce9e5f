"""The base of all kinds of checks: settings, context and result."""

from __future__ import annotations

import os
import shlex
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

from lutbench import files
from lutbench.checks.limits import CheckFigure
from lutbench.model.catalogue import Catalogue
from lutbench.recipes.keys import TableSettings, Texts
from lutbench.recipes.subjects import NamedTransform, open_subject


@dataclass(frozen=True, eq=False)
class Context:
    """The folder and catalogue that the checks of a suite work with, and what they may write."""

    suite: Path
    catalogue: Catalogue
    record: bool = False
    """Whether baselines and stored pictures are recorded instead of checked."""
    force: bool = False
    """Whether existing recordings may be replaced."""
    start: str = field(default_factory=os.getcwd)
    """The user's current folder: commands are shown as they are typed there."""

    @property
    def folder(self) -> Path:
        """The folder that paths in the suite are relative to."""
        return self.suite.parent

    def path(self, name: str) -> Path:
        """A path that the suite names; it is in its folder, unless reading outside is allowed."""
        return files.beside(self.folder, name, self.suite, "suite")

    def place(self, name: str, where: str) -> Path:
        """A path to record into; a suite writes into its own folder only."""
        return files.inside(self.folder, name, where, "folder of the suite")

    def subject(self, text: str) -> NamedTransform:
        """The LUT, recipe's LUT or pipeline that the suite names."""
        return open_subject(text, self.catalogue, self.folder, self.path)

    def shown(self, text: str) -> str:
        """A path or subject of the suite, relative to the current folder."""
        file, mark, rest = text.partition("#")
        path = self.folder / file
        return os.path.relpath(path, self.start) + mark + rest if path.exists() else text

    @property
    def itself(self) -> tuple[str, ...]:
        """The command that runs the suite."""
        return ("lutbench", "verify", os.path.relpath(self.suite, self.start))

    def shows(self, command: str, side: NamedTransform, *options: str) -> tuple[str, ...]:
        """A command on a LUT file; empty for a recipe or a pipeline, which commands do not take."""
        if side.path is None or side.path.suffix.lower() == ".toml":
            return ()
        return ("lutbench", command, *options, self.shown(side.name))


@dataclass(frozen=True)
class CheckResult:
    """The result of a check: whether it passed, the figures, where, and a command that shows it."""

    passed: bool
    summary: str
    figures: tuple[CheckFigure, ...] = ()
    where: str = ""
    show: tuple[str, ...] = ()
    """A command line that shows the finding, as a tuple of words."""
    recorded: str = ""
    """The file that was recorded, if any."""


@dataclass(frozen=True, kw_only=True)
class Check(TableSettings):
    """A check of a suite. Each kind is a subclass, whose fields are its settings."""

    name: str
    tags: Texts = ()
    """Words for selecting checks."""
    reason: str = ""
    """Why this is checked; shown when it fails."""
    kind: ClassVar[str] = ""

    @property
    def recording(self) -> str:
        """The file that recording writes, as the suite names it; empty for most kinds."""
        return ""

    def run(self, context: Context) -> CheckResult:
        """Run the check.

        Raises LutbenchError when it cannot be run, or would compare nothing: the check then fails.
        """
        raise NotImplementedError


def command_line(show: tuple[str, ...]) -> str:
    """The words of a command as one line that can be pasted into a shell."""
    return shlex.join(show)
