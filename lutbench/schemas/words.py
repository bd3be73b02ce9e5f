"""The names of curves and gamuts in TOML files, and the words that several files share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any

from lutbench.hints import names, usual, words


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
