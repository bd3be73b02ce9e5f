"""The project file: what holds for a whole shoot, said once in its folder.

The command line looks for it in the current folder and upwards, takes from it what it leaves
out itself, and says so; what a LUT's own file tells comes before it. Recipes do not read it: a
recipe gives the same bytes wherever it lies.
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
    """An end of the project's pictures, by names; empty for what is not told."""

    curve: str = ""
    gamut: str = ""
    range: Range | None = None

    def __str__(self) -> str:
        ranged = f"{self.range} range" if self.range else ""
        return ", ".join(each for each in (self.curve, self.gamut, ranged) if each)


@dataclass(frozen=True)
class Project:
    """What a project file says; empty or None for what it leaves out."""

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
    """What a project file says.

    Raises
    ------
    LutbenchError
        When it cannot be used, or a file that it names stands outside its folder.
    """
    top = Table(read_toml(file), str(file))
    zebra = top.table("zebra") or Table({}, top.at("zebra"))
    project = Project(
        file,
        top.text("title", ""),
        tuple(str(beside(file.parent, name, file, "project")) for name in _names(top)),
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


def _names(top: Table) -> list[str]:
    named = top.take("definitions")
    names = [named] if isinstance(named, str) else named or []
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise DefinitionError(
            "is not a list of files", where=top.at("definitions"), accepted='["a.toml", "b.toml"]'
        )
    return names


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
