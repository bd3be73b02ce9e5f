"""The project of the current folder: where its file is found, and how what it says is told."""

from __future__ import annotations

import logging
import os
from pathlib import Path
from typing import TYPE_CHECKING

from lutbench.errors import one_of

if TYPE_CHECKING:
    from lutbench.recipes.project import Project

_log = logging.getLogger("lutbench")

NAME = "lutbench.toml"
VARIABLE = "LUTBENCH_PROJECT"
"""Set to ``no``, no project file is looked for."""


def project_here() -> Project | None:
    """The project of the current folder or of the nearest one above; None where there is none.

    A file that belongs to neither the user nor the system is passed over: on a shared disk
    nobody else decides what your commands mean.

    Raises
    ------
    LutbenchError
        When a project file is there and cannot be used.
    """
    text = os.environ.get(VARIABLE, "").strip()
    if text and one_of("answer", text, ("yes", "no"), VARIABLE) == "no":
        return None
    here = Path.cwd()
    for place in (here, *here.parents):
        file = place / NAME
        if file.is_file() and trusted(file.stat().st_uid):
            from lutbench.recipes.project import read_project

            return read_project(file)
    return None


def trusted(owner: int) -> bool:
    """Whether a project file of that owner counts: the user's own, or the system's."""
    return not hasattr(os, "getuid") or owner in (os.getuid(), 0)


def shown_path(project: Project) -> str:
    """The path of a project's file from here, as a user would type it."""
    return os.path.relpath(project.path)


def say_taken(project: Project, what: str) -> None:
    """Say that something comes from the project's file."""
    _log.info("%s, as %s says", what, shown_path(project))
