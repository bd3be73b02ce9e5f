"""The project file: settings for a whole shoot, kept in its folder.

The command line looks for it in the current folder and those above, and uses it for what the
options leave out, with a message. What a LUT's own file states has priority. Recipes do not
read it, so that a recipe gives the same bytes in any folder.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lutbench.errors import DefinitionError
from lutbench.files import beside, read_toml
from lutbench.model.signal import Range
from lutbench.recipes.table import Table


@dataclass(frozen=True)
class ProjectEnd:
    """The source or target encoding of a project, by names; empty where it is not given."""

    curve: str = ""
    gamut: str = ""
    range: Range | None = None

    def __str__(self) -> str:
        ranged = f"{self.range} range" if self.range else ""
        return ", ".join(each for each in (self.curve, self.gamut, ranged) if each)


@dataclass(frozen=True)
class Project:
    """The content of a project file; empty or None for what it leaves out."""

    path: Path
    title: str = ""
    definitions: tuple[str, ...] = ()
    source: ProjectEnd = ProjectEnd()
    target: ProjectEnd = ProjectEnd()
    exposure_index: str = ""
    filters: tuple[float, ...] = ()
    zebra_min: float | None = None
    zebra_step: float | None = None


def read_project(file: Path) -> Project:
    """Read a project file.

    Raises LutbenchError when it cannot be used, or a file that it names is outside its folder.
    """
    top = Table(read_toml(file), str(file))
    zebra = top.table("zebra") or Table({}, top.at("zebra"))
    project = Project(
        file,
        top.text("title", ""),
        tuple(_definitions(top, file, name) for name in top.texts("definitions") or ()),
        _end(top, "source"),
        _end(top, "target"),
        _written(top, "exposure_index"),
        top.numbers("filters") or (),
        zebra.number("lowest") if "lowest" in zebra else None,
        zebra.number("step") if "step" in zebra else None,
    )
    zebra.know("lowest", "step")
    zebra.done()
    top.done()
    return project


def _definitions(top: Table, file: Path, name: str) -> str:
    """The path of a file of definitions, which must exist."""
    path = beside(file.parent, name, file, "project")
    if not path.is_file():
        raise DefinitionError(
            f"there is no file {name!r}",
            where=top.at("definitions"),
            accepted="a file of definitions in the folder of the project file",
        )
    return str(path)


def _written(top: Table, key: str) -> str:
    """A text or a number, as it is written."""
    value: Any = top.take(key)
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise DefinitionError(
            f"{value!r:.60} is neither text nor number", where=top.at(key), accepted="800"
        )
    return str(value)


def _end(top: Table, key: str) -> ProjectEnd:
    table = top.table(key)
    if table is None:
        return ProjectEnd()
    end = ProjectEnd(
        table.text("curve", ""),
        table.text("gamut", ""),
        table.choice("range", ("full", "legal"), None),
    )
    table.done()
    return end
