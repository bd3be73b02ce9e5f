"""The project of the current folder: finding its file, and reporting what is taken from it."""

from __future__ import annotations

import logging
import os
from pathlib import Path
from typing import TYPE_CHECKING

from lutbench.given import one_of

if TYPE_CHECKING:
    from lutbench.recipes.project import Project

_log = logging.getLogger("lutbench")

NAME = "lutbench.toml"
VARIABLE = "LUTBENCH_PROJECT"
"""Environment variable: ``no`` means that no project file is looked for."""


def project_here() -> Project | None:
    """The project of the current folder or of the nearest one above; None where there is none.

    A file that is owned by neither the user nor the system is ignored: on a shared disk
    another user must not decide what your commands do.

    Raises LutbenchError when a project file exists but cannot be used.
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
    """Whether a project file with that owner is used: the user, or the system."""
    return not hasattr(os, "getuid") or owner in (os.getuid(), 0)


def shown_path(project: Project) -> str:
    """The path of a project's file, relative to the current folder."""
    return os.path.relpath(project.path)


def say_taken(project: Project, what: str) -> None:
    """Log that something was taken from the project's file."""
    _log.info("%s, as %s says", what, shown_path(project))
