"""All schemas, by name."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Any

from lutbench.errors import unknown_name
from lutbench.schemas.making import schema_of


@dataclass(frozen=True)
class NamedSchema:
    """A schema, with the place of the type that it is made from."""

    name: str
    title: str
    place: str
    """The module in `lutbench`, a colon, and the name of the type."""

    @property
    def of_a_file(self) -> bool:
        """Whether it describes a file that is read, and not the output of a command."""
        return not self.place.startswith("schemas.reports.")

    def made(self) -> dict[str, Any]:
        """The JSON Schema."""
        module, _, kind = self.place.partition(":")
        found = getattr(import_module(f"lutbench.{module}"), kind)
        return schema_of(found, self.title, closed=self.of_a_file)


FILES = (
    NamedSchema("recipe", "A recipe for `lutbench build`", "schemas.inputs.recipe:Recipe"),
    NamedSchema("suite", "A suite for `lutbench verify`", "schemas.inputs.suite:SuiteFile"),
    NamedSchema("project", "Settings of a whole shoot: lutbench.toml", "recipes.project:Project"),
    NamedSchema(
        "definitions", "Curves and gamuts of your own", "schemas.inputs.definitions:Definitions"
    ),
)
"""Schemas of the TOML files that are read."""

_MAKING = ("apply", "bench", "build", "capture", "chart", "convert", "demo", "learn", "match")
_MEASURING = (
    *("compare", "display-calibrate", "display-check", "display-fit", "display-patches"),
    *("monitor-draw", "monitor-read", "verify"),
)


def _reports(module: str, names: tuple[str, ...]) -> list[NamedSchema]:
    return [
        NamedSchema(
            name,
            f"What `lutbench {name.replace('-', ' ')} --json` prints",
            f"schemas.reports.{module}:{name.title().replace('-', '')}",
        )
        for name in names
    ]


REPORTS = (
    *_reports("making", (*_MAKING, "rework")),
    *_reports("identifying", ("inspect", "identify", "split")),
    NamedSchema(
        "identify-groups",
        "What `lutbench identify --groups` writes",
        "schemas.reports.identifying:Groups",
    ),
    *_reports("measuring", _MEASURING),
    *_reports("naming", ("levels", "list-curves", "list-gamuts", "list-tones", "list-mappings")),
)
"""Schemas of the output of ``--json``; in names of two words ``-`` replaces the space."""


def schema_named(name: str) -> NamedSchema:
    """The schema of that name; UnknownNameError with the nearest names."""
    known = {each.name: each for each in (*FILES, *REPORTS)}
    try:
        return known[name.casefold()]
    except KeyError:
        raise unknown_name("schema", name, sorted(known)) from None
