"""A suite: the checks that a TOML file names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lutbench.checks.base import Check, Context, read_names
from lutbench.checks.kinds import KINDS
from lutbench.errors import DefinitionError, unknown_name
from lutbench.files import beside, read_toml
from lutbench.model.catalogue import Catalogue, open_catalogue, user_definitions_wanted
from lutbench.recipes.table import Table

MAX_CHECKS = 10_000
"""Checks in a suite: more is a mistake of whatever wrote it."""

SUFFIX = ".lutbench.toml"
"""The end of a name by which pytest collects a suite."""


@dataclass(frozen=True, eq=False)
class Suite:
    """Checks, and where they stand."""

    title: str
    path: Path
    checks: tuple[Check, ...]
    catalogue: Catalogue

    def context(self, *, record: bool = False, force: bool = False) -> Context:
        """What the checks run in."""
        # Whole paths: another process may stand in another folder.
        return Context(self.path.resolve(), self.catalogue, record, force)

    def selected(self, expression: str = "", tags: Sequence[str] = ()) -> list[Check]:
        """The checks whose name fits `expression` and that carry one of `tags`.

        `expression` is words joined by ``and``, ``or`` and ``not``, each looked for
        in the name, letter case ignored; a whole name is taken as it is.

        Raises
        ------
        DefinitionError
            When no check is left: a run of none would prove nothing.
        """
        known = {tag for check in self.checks for tag in check.tags}
        for tag in tags:
            if tag not in known:
                raise unknown_name("tag", tag, sorted(known), str(self.path))
        chosen = [
            check
            for check in self.checks
            if name_fits(check.name, expression) and (not tags or set(tags) & set(check.tags))
        ]
        if not chosen:
            raise DefinitionError(
                "no check is selected",
                where=self.path,
                accepted=", ".join(check.name for check in self.checks[:6]),
            )
        return chosen


def read_suite(path: str | Path, definitions: Sequence[str | Path] = ()) -> Suite:
    """The suite in a TOML file; `definitions` are more files with the user's curves and gamuts.

    Raises
    ------
    DefinitionError
        With the file, the key and what would be accepted.
    """
    file = Path(path)
    top = Table(read_toml(file), str(file))
    named = read_names(top, "definitions", ()) or ()
    # What stands in one user's folder must not decide what passes on another machine.
    user = user_definitions_wanted(usual=False)
    found = (beside(file.parent, name, top.at("definitions"), "suite") for name in named)
    catalogue = open_catalogue(*found, *definitions, user=user)
    title = top.text("title", file.name.removesuffix(SUFFIX).removesuffix(".toml"))
    tables = top.tables("check")
    top.done()
    if not 1 <= len(tables) <= MAX_CHECKS:
        raise DefinitionError(
            f"the suite has {len(tables)} checks",
            where=file,
            accepted=f"1 to {MAX_CHECKS} tables [[check]]",
        )
    checks = tuple(_check(table, catalogue) for table in tables)
    seen: set[str] = set()
    for check in checks:
        if check.name in seen:
            raise DefinitionError(
                f"two checks are named {check.name!r}", where=file, accepted="a name for each"
            )
        seen.add(check.name)
    return Suite(title, file, checks, catalogue)


def _check(table: Table, catalogue: Catalogue) -> Check:
    name = table.text("name")
    if not name.strip() or len(name) > 200 or not name.isprintable():
        raise DefinitionError(
            f"{name[:40]!r} is not a name", where=table.at("name"), accepted="1 to 200 characters"
        )
    kind = table.text("kind")
    if kind not in KINDS:
        raise unknown_name("kind of check", kind, KINDS, table.at("kind"))
    place = f"{table.where} ({name})"
    table.where = place
    common = {
        "name": name,
        "where": place,
        "tags": read_names(table, "tags", ()),
        "reason": table.text("reason", ""),
    }
    check = KINDS[kind].read(table, common, catalogue)
    table.done()
    return check


def name_fits(name: str, expression: str) -> bool:
    """Whether a check's name fits a ``-k`` expression.

    >>> name_fits("monitor LUT", "monitor and not small"), name_fits("a or b", "a or b")
    (True, True)
    """
    folded = name.casefold()
    text = " ".join(expression.casefold().split())
    if not text or text == " ".join(folded.split()):
        return True
    ways = [
        [_term(term.strip(), expression) for term in re.split(r"\band\b", way)]
        for way in re.split(r"\bor\b", text)
    ]
    return any(all((word in folded) == wanted for word, wanted in way) for way in ways)


def _term(term: str, expression: str) -> tuple[str, bool]:
    """A word to look for, and whether it must be there."""
    wanted = not re.match(r"not\b", term)
    word = term if wanted else term[3:].strip()
    if not word:
        raise DefinitionError(
            f"{expression!r} is not a selection", accepted='"word", "word and not word"'
        )
    return word, wanted
