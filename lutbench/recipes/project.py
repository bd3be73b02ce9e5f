"""The project file: settings for a whole shoot, kept in its folder.

The command line looks for it in the current folder and those above, and uses it for what the
options leave out, with a message. What a LUT's own file states has priority. Recipes do not
read it, so that a recipe gives the same bytes in any folder.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

from lutbench.errors import DefinitionError
from lutbench.files import beside, read_toml
from lutbench.model.signal import Range
from lutbench.recipes.keys import CurveName, GamutName, TableSettings, Texts, between
from lutbench.recipes.table import Table


@dataclass(frozen=True, kw_only=True)
class ProjectEnd(TableSettings):
    """The source or target encoding of the project."""

    curve: CurveName = ""
    gamut: GamutName = ""
    range: Range | None = None

    def __str__(self) -> str:
        ranged = f"{self.range} range" if self.range else ""
        return ", ".join(each for each in (self.curve, self.gamut, ranged) if each)


@dataclass(frozen=True, kw_only=True)
class ProjectZebra(TableSettings):
    """The zebra settings of the camera, in percent of signal."""

    lowest: Annotated[float | None, between(0, 109)] = None
    step: float | None = None


@dataclass(frozen=True, kw_only=True)
class Project(TableSettings):
    """What commands use where their options say nothing."""

    title: str = ""
    """The production, in the heading of the levels card."""
    exposure_index: Annotated[Any, str | float] = ""
    """The exposure index, in the heading of the levels card."""
    definitions: Texts = ()
    """Files with your own curves and gamuts, in the folder of this file."""
    filters: tuple[float, ...] = ()
    """The densities of the neutral density filters that you have."""
    source: ProjectEnd = ProjectEnd()
    """The encoding that is recorded."""
    target: ProjectEnd = ProjectEnd()
    """The encoding that is shown."""
    zebra: ProjectZebra = ProjectZebra()

    def __post_init__(self) -> None:
        given = self.exposure_index
        if isinstance(given, bool) or not isinstance(given, str | int | float):
            raise DefinitionError(
                f"{given!r:.60} is neither text nor number",
                where=self.at("exposure_index"),
                accepted="800",
            )

    @property
    def path(self) -> Path:
        """The project file."""
        return Path(self.where)


def read_project(file: Path) -> Project:
    """Read a project file.

    Raises LutbenchError when it cannot be used, or a file that it names is outside its folder.
    """
    project = Project.read(Table(read_toml(file), str(file)))
    found = [beside(file.parent, name, file, "project") for name in project.definitions]
    for name, path in zip(project.definitions, found, strict=True):
        if not path.is_file():
            raise DefinitionError(
                f"there is no file {name!r}",
                where=project.at("definitions"),
                accepted="a file of definitions in the folder of the project file",
            )
    return replace(project, definitions=tuple(map(str, found)))
