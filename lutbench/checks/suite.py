"""A suite: the checks in a TOML file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lutbench.checks.base import Check, Context
from lutbench.checks.kinds import KINDS
from lutbench.errors import DefinitionError, unknown_name
from lutbench.files import beside, read_toml
from lutbench.given import named
from lutbench.model.catalogue import Catalogue, open_catalogue, user_definitions_wanted
from lutbench.recipes.table import Table

MAX_CHECKS = 10_000
"""Largest number of checks in a suite: more are a mistake of the program that wrote it."""

SUFFIX = ".lutbench.toml"
"""The end of a file name by which pytest collects a suite."""


@dataclass(frozen=True, eq=False)
class Suite:
    """Checks, with their file and the catalogue that they use."""

    title: str
    path: Path
    checks: tuple[Check, ...]
    catalogue: Catalogue

    def context(self, *, record: bool = False, force: bool = False) -> Context:
        """The context that the checks run in."""
        # An absolute path: another process may have another current folder.
        return Context(self.path.resolve(), self.catalogue, record, force)

    def selected(self, expression: str = "", tags: Sequence[str] = ()) -> list[Check]:
        """The checks whose name matches `expression` and that have one of `tags`.

        `expression` is words joined by ``and``, ``or`` and ``not``; each word is searched for
        in the name, letter case ignored. The whole name of a check matches that check.

        Raises
        ------
        DefinitionError
            When no check is selected, since a run without checks proves nothing.
        """
        known = {tag for check in self.checks for tag in check.tags}
        for tag in tags:
            if tag not in known:
                raise unknown_name("tag", tag, sorted(known), str(self.path))
        chosen = [
            check
            for check in self.checks
            if name_matches(check.name, expression) and (not tags or set(tags) & set(check.tags))
        ]
        if not chosen:
            raise DefinitionError(
                "no check is selected",
                where=self.path,
                accepted=", ".join(check.name for check in self.checks[:6]),
            )
        return chosen


def read_suite(path: str | Path, definitions: Sequence[str | Path] = ()) -> Suite:
    """Read a suite; `definitions` are additional files with the user's curves and gamuts.

    Raises
    ------
    DefinitionError
        When it cannot be used; the message has the file, the key and what would be accepted.
    """
    file = Path(path)
    top = Table(read_toml(file), str(file))
    named = top.texts("definitions") or ()
    # A suite must not pass or fail because of one user's own definitions.
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
                f"two checks are named {check.name!r}",
                where=file,
                accepted="a different name for each",
            )
        seen.add(check.name)
    return Suite(title, file, checks, catalogue)


def _check(table: Table, catalogue: Catalogue) -> Check:
    name = table.text("name")
    if not name.strip() or len(name) > 200 or not name.isprintable():
        raise DefinitionError(
            f"{name[:40]!r} is not a name", where=table.at("name"), accepted="1 to 200 characters"
        )
    if "kind" not in table:
        raise DefinitionError("is missing", where=table.at("kind"), accepted=", ".join(KINDS))
    kind = named("kind of check", table.text("kind"), KINDS, table.at("kind"))
    table.where = f"{table.where} ({name})"
    return KINDS[kind].read(table, catalogue)


def name_matches(name: str, expression: str) -> bool:
    """Whether a check's name matches a ``-k`` expression.

    >>> name_matches("monitor LUT", "monitor and not small"), name_matches("a or b", "a or b")
    (True, True)
    """
    folded = name.casefold()
    text = " ".join(expression.casefold().split())
    if not text or text == " ".join(folded.split()):
        return True
    alternatives = [
        [_term(term.strip(), expression) for term in re.split(r"\band\b", part)]
        for part in re.split(r"\bor\b", text)
    ]
    return any(all((word in folded) == wanted for word, wanted in terms) for terms in alternatives)


def _term(term: str, expression: str) -> tuple[str, bool]:
    """A word to search for, and whether it must be present (True) or absent."""
    wanted = not re.match(r"not\b", term)
    word = term if wanted else term[3:].strip()
    if not word:
        raise DefinitionError(
            f"{expression!r} is not a selection", accepted='"word", "word and not word"'
        )
    return word, wanted
