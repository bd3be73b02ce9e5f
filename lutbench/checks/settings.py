"""The settings of checks: dataclasses whose fields are the keys of a table in a suite."""

from __future__ import annotations

import re
import types
from collections.abc import Iterable
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

from lutbench import hints
from lutbench.checks.limits import NAMES
from lutbench.errors import DefinitionError
from lutbench.given import named
from lutbench.hints import Hint
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import BT709, Gamut
from lutbench.model.signal import Range
from lutbench.recipes.table import Table

Bits = Literal[8, 10, 12, 16]
Texts = Annotated[tuple[str, ...], str | list[str]]
Limits = Annotated[dict[str, Any], hints.limits(lambda: NAMES)]
Sha256 = Annotated[str, Hint(lambda: {"pattern": "^[0-9A-Fa-f]{64}$"})]


@dataclass(frozen=True, kw_only=True)
class TableSettings:
    """The base of what is read from a table by its fields.

    Their types say how they are read, and with the docstrings under them make up the schema. A
    field with a default may be left out. Numbers are checked where they are used.
    """

    where: str = field(default="", repr=False)

    def respell(self, key: str, kind: str, known: Iterable[str]) -> None:
        """Spell the names in `key`, texts or a table, as they are `known`, in any letter case."""
        given = getattr(self, key)
        if given is None:
            return
        names = tuple(named(kind, each, known, self.at(key)) for each in given)
        table = isinstance(given, dict)
        spelt = dict(zip(names, given.values(), strict=True)) if table else names
        object.__setattr__(self, key, spelt)

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
    def read(cls, table: Table, catalogue: Catalogue) -> Self:
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

    def only_one(self, *keys: str) -> str:
        """The one of some keys that is given; LutbenchError unless it is exactly one."""
        given = [key for key in keys if getattr(self, key) is not None]
        if len(given) != 1:
            raise DefinitionError(
                f"{len(given) or 'none'} of {', '.join(keys)} is given",
                where=self.where,
                accepted="one of them",
            )
        return given[0]


@dataclass(frozen=True, kw_only=True)
class SuiteEnd(TableSettings):
    """The source or target encoding of a LUT."""

    curve: Curve
    gamut: Annotated[Gamut | None, hints.usual("BT.709")] = None
    range: Range | None = None
    """By default as the curve's codes are published."""
    bits: Bits = 10

    @property
    def encoding(self) -> Encoding:
        """The encoding itself."""
        signal_range = self.range or self.curve.formula_codes
        return Encoding(self.curve, self.gamut or BT709, signal_range, self.bits)


End = Annotated[Encoding | None, SuiteEnd]


def refuse_no_digest(text: str | None, where: str) -> None:
    """Refuse a text that is given and is not a SHA-256."""
    if text is not None and not re.fullmatch("[0-9A-Fa-f]{64}", text):
        raise DefinitionError("is not a SHA-256", where=where, accepted="64 hexadecimal digits")


def plain_type(kind: Any) -> Any:
    """A type without hints, and without None as another possibility."""
    if get_origin(kind) is Annotated:
        return plain_type(get_args(kind)[0])
    if get_origin(kind) in (Union, types.UnionType):
        return plain_type(next(each for each in get_args(kind) if each is not type(None)))
    return kind


def _read(table: Table, key: str, kind: Any, default: Any, catalogue: Catalogue) -> Any:
    """The value of a key, by its type."""
    if default is not MISSING and key not in table:
        table.know(key)
        return default
    kind = plain_type(kind)
    inner = get_args(kind)
    if kind is str:
        return table.text(key)
    if kind is Curve:
        return catalogue.curve(table.text(key), table.at(key))
    if kind is Gamut:
        return catalogue.gamut(table.text(key), table.at(key))
    if get_origin(kind) is Literal:
        return table.choice(key, inner, default)
    if kind == tuple[str, ...]:
        return table.texts(key)
    if get_origin(kind) is tuple and issubclass(inner[0], TableSettings):
        return tuple(inner[0].read(each, catalogue) for each in table.tables(key))
    inside = table.table(key) if kind is Encoding or get_origin(kind) is dict else None
    if inside is None:
        return table.take(key)
    return SuiteEnd.read(inside, catalogue).encoding if kind is Encoding else inside.values
