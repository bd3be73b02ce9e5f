"""Hints for words and names in TOML files: editors offer them, letter case is ignored."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Annotated, Any

from lutbench.schemas.making import Hint


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


def _curves() -> list[str]:
    from lutbench.model.catalogue import open_catalogue

    return _named(open_catalogue().curves(exact=False))


def _gamuts() -> list[str]:
    from lutbench.model.catalogue import open_catalogue

    return _named(open_catalogue().gamuts())


def _named(entries: Iterable[Any]) -> list[str]:
    usable = (entry for entry in entries if not entry.unusable)
    return list(dict.fromkeys(name for each in usable for name in (each.name, *each.aliases)))


CurveName = Annotated[str, names(_curves)]
GamutName = Annotated[str, names(_gamuts)]
Range = Annotated[str, words(lambda: ("full", "legal"))]
Interpolation = Annotated[str, words(lambda: ("tetrahedral", "trilinear")), usual("tetrahedral")]
