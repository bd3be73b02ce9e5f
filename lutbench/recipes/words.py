"""A recipe's tables from words, as in ``shoulder contrast=1.2 on=largest``, or from settings.

For commands, pipelines in words and Python, ``[tone]`` and ``[gamut]`` are written as the method
and then any of its settings.
"""

from __future__ import annotations

from typing import Any

from lutbench.errors import DefinitionError
from lutbench.given import text
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.recipes.settings import SETTINGS
from lutbench.recipes.table import Table


def table_of_words(words: str, what: str) -> Table:
    """The table that `words` stand for: a method, and settings as ``key=value``.

    Numbers separated by commas are a list.

    Raises DefinitionError when a word is not a setting, or one is given twice.

    >>> table_of_words("compress power=1.1 limits=1.1,1.2,1.3", "gamut").values
    {'method': 'compress', 'power': 1.1, 'limits': [1.1, 1.2, 1.3]}
    """
    method, *settings = text(words, what).split() or [""]
    values: dict[str, Any] = {"method": method}
    for setting in settings:
        key, equals, value = setting.partition("=")
        if not (key and equals and value) or key in values:
            raise DefinitionError(
                f"{setting!r:.60} is not a setting, or is given twice",
                where=what,
                accepted=f'settings after the method, as in "{method or "shoulder"} key=value"',
            )
        values[key] = _value(value)
    return Table(values, what)


class _OfSettings(Table):
    """A table whose errors name a setting; curves and gamuts may be objects instead of names."""

    def at(self, key: str) -> str:
        return f"{self.where} {key}".strip()

    def text(self, key: str, default: str | None = None) -> Any:
        value = self.take(key)
        return value if isinstance(value, Curve | Gamut) else super().text(key, default)


def table_of_settings(values: dict[str, Any]) -> Table:
    """The table of a recipe for these settings; settings without a value are left out."""
    tables: dict[str, Any] = {}
    for each in SETTINGS:
        value = values[each.name]
        if value is None or value == "" == each.default:
            continue
        *outer, key = each.key.split(".")
        table = tables
        for name in outer:
            table = table.setdefault(name, {})
        table.setdefault(key, table_of_words(value, each.name).values if each.words else value)
    return _OfSettings(tables, "")


def _value(written: str) -> Any:
    if written.casefold() in ("true", "false"):
        return written.casefold() == "true"
    try:
        numbers = [float(each) for each in written.split(",")]
    except ValueError:
        return written
    return numbers if "," in written else numbers[0]
