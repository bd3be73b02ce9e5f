"""Reading TOML tables: each value is checked for its type, each error names its place."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from lutbench.errors import DefinitionError, nearest_names
from lutbench.files import beside
from lutbench.given import number


class Table:
    """A TOML table that is read key by key; a key that is never read is an error.

    Parameters
    ----------
    values
        The table as parsed.
    where
        The file and place that errors name.
    folder
        The folder of the files that the table names.
    """

    def __init__(self, values: Any, where: str, folder: Path = Path()) -> None:
        if not isinstance(values, dict):
            raise DefinitionError("is not a table", where=where, accepted="key = value pairs")
        self.values: dict[str, Any] = dict(values)
        self.where = where
        self.folder = folder
        self._read: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def at(self, key: str) -> str:
        """The place of `key` for an error."""
        return f"{self.where}, {key}"

    def take(self, key: str) -> Any:
        """The raw value of `key`, or None."""
        self._read.add(key)
        return self.values.get(key)

    def know(self, *keys: str) -> None:
        """Count `keys` as read, whether they are present or not."""
        self._read.update(keys)

    def text(self, key: str, default: str | None = None) -> str:
        """A string; without `default` the key must be present."""
        value = self.take(key)
        if value is None and default is not None:
            return default
        if not isinstance(value, str):
            what = "is missing" if value is None else f"{value!r:.60} is not text"
            raise DefinitionError(what, where=self.at(key), accepted="text in quotes")
        return value

    def choice(self, key: str, accepted: tuple[Any, ...], default: Any) -> Any:
        """One of `accepted`, letter case ignored."""
        value = self.take(key)
        if value is None:
            return default
        folded = value.casefold() if isinstance(value, str) else value
        if isinstance(folded, bool) or folded not in accepted:
            raise DefinitionError(
                f"{value!r:.60} is not one of the choices",
                where=self.at(key),
                accepted=", ".join(map(str, accepted)),
            )
        return folded

    def number(self, key: str, default: float | None = None) -> float:
        """A number; without `default` the key must be present."""
        value = self.take(key)
        if value is not None:
            return number(value, self.at(key))
        if default is None:
            raise DefinitionError("is missing", where=self.at(key), accepted="a number")
        return default

    def integer(self, key: str, default: int) -> int:
        """A whole number."""
        value = self.take(key)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int):
            raise DefinitionError(
                f"{value!r:.60} is not a whole number",
                where=self.at(key),
                accepted="a whole number",
            )
        return value

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self.take(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise DefinitionError(
                f"{value!r:.60} is neither true nor false",
                where=self.at(key),
                accepted="true, false",
            )
        return value

    def like(self, key: str, example: Any) -> Any:
        """The value of `key`, of the type of `example`: flag, whole number, number or text."""
        if isinstance(example, bool):
            return self.flag(key, example)
        if isinstance(example, int):
            return self.integer(key, example)
        return self.text(key) if isinstance(example, str) else self.number(key)

    def numbers(self, key: str, count: int | None = None) -> tuple[float, ...] | None:
        """A list of `count` numbers (any count where None), or None when it is not present."""
        value = self.take(key)
        if value is None:
            return None
        if not isinstance(value, list) or (count is not None and len(value) != count):
            raise DefinitionError(
                f"{value!r:.60} is not a list of numbers",
                where=self.at(key),
                accepted=f"[{count or 'some'} numbers]",
            )
        return tuple(number(each, self.at(key)) for each in value)

    def texts(self, key: str) -> tuple[str, ...] | None:
        """A list of texts, or one text as a list of one; None when it is not present."""
        value = self.take(key)
        if value is None:
            return None
        texts = [value] if isinstance(value, str) else value
        if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
            raise DefinitionError(
                "is not a list of texts", where=self.at(key), accepted='["a", "b"]'
            )
        return tuple(texts)

    def file(self, key: str) -> str | None:
        """The path of a file that the table names (see `files.beside`), or None."""
        self.know(key)
        if key not in self:
            return None
        return str(beside(self.folder, self.text(key), self.at(key)))

    def table(self, key: str) -> Table | None:
        """A table inside this one, or None when it is not present."""
        value = self.take(key)
        return None if value is None else type(self)(value, self.at(key), self.folder)

    def tables(self, key: str) -> list[Table]:
        """A list of tables (``[[key]]``), empty when it is not present."""
        value = self.take(key)
        if value is None:
            return []
        if not isinstance(value, list):
            raise DefinitionError(
                "is not a list of tables", where=self.at(key), accepted=f"[[{key}]]"
            )
        places = [f"{self.where}, {key} {i}" for i in range(1, len(value) + 1)]
        return [
            type(self)(each, place, self.folder) for each, place in zip(value, places, strict=True)
        ]

    @contextmanager
    def placing_errors(self) -> Iterator[None]:
        """Give a DefinitionError raised inside this table's place, unless it has one in it."""
        try:
            yield
        except DefinitionError as error:
            if self.where and error.where.startswith(self.where):
                raise
            raise DefinitionError(error.what, where=self.where, accepted=error.accepted) from error

    def done(self) -> None:
        """Refuse keys that were not read."""
        self.only(self._read)

    def only(self, known: Collection[str]) -> None:
        """Refuse keys that are not among `known`."""
        left = sorted(set(self.values) - set(known))
        if left:
            close = nearest_names(left[0], known) or sorted(known)
            raise DefinitionError(
                f"the key {left[0]!r} is not known", where=self.where, accepted=", ".join(close)
            )
