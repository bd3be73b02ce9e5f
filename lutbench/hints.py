"""What a schema says of a key beyond its type: accepted words, limits, defaults.

They stand in the annotations of the keys. In TOML files editors offer the words and names, and
letter case is ignored.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any


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
