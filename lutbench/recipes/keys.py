"""Dataclasses whose fields are the keys of a TOML table, for its reader and its schema alike.

A `Hint` in the annotation of a key says what its type does not: accepted words, limits, defaults.
Editors offer the words and names; letter case is ignored.
"""

from __future__ import annotations

import re
import types
from collections.abc import Callable, Iterable
from dataclasses import MISSING, dataclass, field
from typing import (
    Annotated,
    Any,
    ClassVar,
    Literal,
    Self,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from lutbench.errors import DefinitionError
from lutbench.given import named
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.recipes.table import Table


@dataclass(frozen=True)
class Hint:
    """Additions to the schema of a type, made by a function when they are needed."""

    extra: Callable[[], dict[str, Any]]


def words(found: Callable[[], Iterable[str]]) -> Hint:
    """One of a few words, taken from the code that reads them; letter case is ignored."""

    def extra() -> dict[str, Any]:
        known = list(found())
        any_case = "|".join(map(_any_case, known))
        return {"anyOf": [{"enum": known}, {"pattern": f"^({any_case})$"}]}

    return Hint(extra)


def names(found: Callable[[], Iterable[str]]) -> Hint:
    """A name; known ones are offered, and others are accepted."""
    return Hint(lambda: {"anyOf": [{"enum": list(found())}, {"type": "string"}]})


def limits(found: Callable[[], Iterable[str]]) -> Hint:
    """Limits by name; other names are errors."""

    def extra() -> dict[str, Any]:
        numbers = {name: {"type": "number", "minimum": 0} for name in found()}
        return {"properties": numbers, "additionalProperties": False}

    return Hint(extra)


def between(low: float, high: float) -> Hint:
    """The smallest and largest value of a number."""
    return Hint(lambda: {"minimum": low, "maximum": high})


def length(low: int, high: int | None = None) -> Hint:
    """The smallest and largest length of a list."""
    return Hint(lambda: {"minItems": low} | ({} if high is None else {"maxItems": high}))


def usual(value: Any) -> Hint:
    """The default."""
    return Hint(lambda: {"default": value})


def _any_case(word: str) -> str:
    return "".join(f"[{c.upper()}{c.lower()}]" if c.isalpha() else re.escape(c) for c in word)


Bits = Literal[8, 10, 12, 16]
Texts = Annotated[tuple[str, ...], str | list[str]]
Unchecked = Annotated[Any, float]
"""A number that is checked where it is used, as its limits depend on what is found there."""


def _named(entries: Iterable[Any]) -> list[str]:
    usable = (entry for entry in entries if not entry.unusable)
    return list(dict.fromkeys(name for each in usable for name in (each.name, *each.aliases)))


CurveName = Annotated[str, names(lambda: _named(open_catalogue().curves(exact=False)))]
GamutName = Annotated[str, names(lambda: _named(open_catalogue().gamuts()))]


@dataclass(frozen=True, kw_only=True)
class TableSettings:
    """The base of what is read from a table by its fields.

    Their types say how they are read, and with the docstrings under them make up the schema. A
    field with a default may be left out. A subclass in an annotation is read in place of the
    field's own type, which is that of its `made`.
    """

    where: str = field(default="", repr=False)

    @classmethod
    def keys(cls) -> dict[str, tuple[Any, Any]]:
        """By key, its type and its default, which is `MISSING` where the key must be given."""
        # Of names in the module, not of the fields of the same names.
        types_of = get_type_hints(cls, None, {}, include_extras=True)
        return {
            key: (kind, getattr(cls, key, MISSING))
            for key, kind in types_of.items()
            if key != "where"
        }

    @classmethod
    def read(cls, table: Table, catalogue: Catalogue | None = None) -> Self:
        """The settings in a table; a key that is not known is an error."""
        values = {
            key: _read(table, key, kind, default, catalogue)
            for key, (kind, default) in cls.keys().items()
            if get_origin(kind) is not ClassVar
        }
        made = cls(where=table.where, **values)
        table.done()
        return made

    def at(self, key: str) -> str:
        """The place of a key, for an error."""
        return f"{self.where}, {key}"

    def respell(self, key: str, kind: str, known: Iterable[str]) -> None:
        """Spell the names in `key`, texts or a table, as they are `known`, in any letter case."""
        given = getattr(self, key)
        if given is None:
            return
        names = tuple(named(kind, each, known, self.at(key)) for each in given)
        table = isinstance(given, dict)
        spelt = dict(zip(names, given.values(), strict=True)) if table else names
        object.__setattr__(self, key, spelt)

    def refuse_unused(self, needs: str, *keys: str) -> None:
        """Refuse keys that are given though only `needs` would use them: they would be ignored."""
        for key in keys:
            if getattr(self, key) != getattr(type(self), key):
                raise DefinitionError("is not used here", where=self.at(key), accepted=needs)

    def only_one(self, *keys: str) -> str:
        """The one of some keys that is given; DefinitionError unless it is exactly one."""
        given = [key for key in keys if getattr(self, key) is not None]
        if len(given) != 1:
            raise DefinitionError(
                f"{len(given) or 'none'} of {', '.join(keys)} is given",
                where=self.where,
                accepted="one of them",
            )
        return given[0]


def _plain(kind: Any) -> Any:
    """A type without hints and without None, or the settings that are read in its place."""
    if get_origin(kind) is Annotated:
        own, *more = get_args(kind)
        return next(filter(_holds_keys, more), _plain(own))
    if get_origin(kind) in (Union, types.UnionType):
        return _plain(next(each for each in get_args(kind) if each is not type(None)))
    return kind


def _holds_keys(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, TableSettings)


def _read(table: Table, key: str, annotation: Any, default: Any, known: Catalogue | None) -> Any:
    """The value of a key, by its type."""
    if default is not MISSING and key not in table:
        table.know(key)
        return default
    kind = _plain(annotation)
    origin, inner = get_origin(kind), get_args(kind)
    if kind is Curve and known is not None:
        return known.curve(table.text(key), table.at(key))
    if kind is Gamut and known is not None:
        return known.gamut(table.text(key), table.at(key))
    if origin is Literal:
        return table.choice(key, inner, default)
    if origin is tuple and _holds_keys(inner[0]):
        return tuple(inner[0].read(each, known) for each in table.tables(key))
    if kind == tuple[str, ...]:
        return table.texts(key)
    if origin is tuple:
        numbers = table.numbers(key, None if inner[-1] is Ellipsis else len(inner)) or ()
        return tuple(map(inner[0], numbers))
    if _holds_keys(kind) or origin is dict:
        inside = table.table(key) or Table({}, table.at(key))
        if origin is dict:
            return inside.values
        found = kind.read(inside, known)
        return getattr(found, "made", found)
    if kind is bool:
        return table.flag(key, False)
    if kind is int:
        return table.integer(key, 0)
    if kind is float:
        return table.number(key)
    return table.text(key) if kind is str else table.take(key)
