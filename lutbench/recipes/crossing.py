"""Several sources and displays: one ``[[lut]]`` of a recipe gives a LUT for each pair.

``[sources.NAME]`` has the keys of ``[source]``, ``[displays.NAME]`` those of ``[target]``;
both inherit from ``[source]`` and ``[target]`` at the top. A table ``lut`` in one of them
holds further settings of its LUTs, such as a tone that suits the display.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from lutbench.errors import DefinitionError
from lutbench.recipes.table import Table

END_OF = {"sources": "source", "displays": "target"}
"""The table of named ends, and the table of a LUT that each of its members becomes."""


@dataclass(frozen=True)
class NamedEnds:
    """The named sources and displays of a recipe: each name with the tables it adds to a LUT."""

    where: str
    sources: dict[str, dict[str, Any]] = field(default_factory=dict)
    displays: dict[str, dict[str, Any]] = field(default_factory=dict)


def read_ends(top: Table, shared_keys: tuple[str, ...]) -> NamedEnds:
    """The sources and displays that a recipe names at its top."""
    found = {}
    for group, end in END_OF.items():
        table = top.take(group)
        if table is not None and not (isinstance(table, dict) and table):
            raise DefinitionError(
                "holds no named tables", where=top.at(group), accepted=f"[{group}.NAME] tables"
            )
        found[group] = {
            name: _member(each, end, f"{top.at(group)}.{name}", shared_keys)
            for name, each in (table or {}).items()
        }
    return NamedEnds(top.where, **found)


def _member(values: Any, end: str, where: str, shared_keys: tuple[str, ...]) -> dict[str, Any]:
    if not isinstance(values, dict):
        raise DefinitionError("is not a table", where=where, accepted="key = value pairs")
    more = values.get("lut", {})
    if not isinstance(more, dict):
        raise DefinitionError("is not a table", where=f"{where}, lut", accepted="key = value pairs")
    for key in more:
        if key not in shared_keys or key in ("source", "target"):
            accepted = [each for each in shared_keys if each not in ("source", "target")]
            raise DefinitionError(
                f"{key!r} is not a key that is accepted here",
                where=f"{where}, lut",
                accepted=", ".join(accepted),
            )
    return {**more, end: {key: value for key, value in values.items() if key != "lut"}}


def crossed(lut: Table, ends: NamedEnds) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """For each pair, the values that it adds to a LUT, and the LUT's own with its name filled in.

    A LUT without sources and displays is given once, unchanged.
    """
    own = dict(lut.values)
    chosen = {group: _chosen(lut, own, group, ends) for group in END_OF}
    for name, group in (("source", "sources"), ("display", "displays")):
        if len(chosen[group]) > 1 and f"{{{name}}}" not in str(own.get("name", "")):
            raise DefinitionError(
                f"{len(chosen[group])} {group} would give LUTs of the same name",
                where=lut.at("name"),
                accepted=f"a name with {{{name}}} in it",
            )
    for source, of_source in (chosen["sources"] or {"": {}}).items():
        for display, of_display in (chosen["displays"] or {"": {}}).items():
            yield {**of_source, **of_display}, _filled(own, source, display)


def _chosen(
    lut: Table, own: dict[str, Any], group: str, ends: NamedEnds
) -> dict[str, dict[str, Any]]:
    """The members of a group that a LUT is made for: those that it names, else all."""
    known: dict[str, dict[str, Any]] = getattr(ends, group)
    named = own.pop(group, None)
    if named is None:
        # False colour has no target display: its grey picture suits any.
        alone = END_OF[group] in own or (group == "displays" and own.get("kind") == "false_colour")
        return {} if alone else known
    names = [named] if isinstance(named, str) else named
    if not isinstance(names, list) or not names or not all(isinstance(n, str) for n in names):
        raise DefinitionError(
            "is not a list of names",
            where=lut.at(group),
            accepted=f"names of [{group}.NAME] tables",
        )
    for name in names:
        if name not in known:
            raise DefinitionError(
                f"none of the {group} is named {name!r}",
                where=lut.at(group),
                accepted=", ".join(known) or f"names of [{group}.NAME] tables",
            )
    return {name: known[name] for name in names}


def _filled(own: dict[str, Any], source: str, display: str) -> dict[str, Any]:
    """The values, with ``{source}`` and ``{display}`` filled in in name and title."""
    filled = dict(own)
    for key in ("name", "title"):
        if isinstance(text := filled.get(key), str):
            for what, name in (("{source}", source), ("{display}", display)):
                text = text.replace(what, name) if name else text
            filled[key] = text
    return filled
