"""A file of definitions: the user's own curves and gamuts."""

from __future__ import annotations

from typing import Annotated, Literal, NotRequired, TypedDict

from lutbench.model.gamuts import WHITES
from lutbench.recipes.keys import length, names, usual, words

Point = tuple[float, float]
White = Annotated[str, names(lambda: WHITES)]
Codes = Annotated[str, words(lambda: ("full", "legal")), usual("full")]


class LogCurve(TypedDict):
    """A log curve in its parametric form, as in the Common LUT Format."""

    kind: Literal["log"]
    codes: NotRequired[Codes]
    """Whether these values times 1023 are full-range or legal-range codes."""
    base: NotRequired[float]
    log_side_slope: NotRequired[float]
    log_side_offset: NotRequired[float]
    lin_side_slope: NotRequired[float]
    lin_side_offset: NotRequired[float]
    lin_side_break: NotRequired[float]
    """The light below which the curve is a straight line."""
    linear_slope: NotRequired[float]
    """The slope of the straight line; that of the tangent unless given."""


class PowerCurve(TypedDict):
    """A power function."""

    kind: Literal["power"]
    codes: NotRequired[Codes]
    """Whether these values times 1023 are full-range or legal-range codes."""
    gamma: NotRequired[float]


class TableFile(TypedDict):
    """A curve as a table in a file."""

    kind: Literal["table"]
    codes: NotRequired[Codes]
    """Whether these values times 1023 are full-range or legal-range codes."""
    file: str
    """A CSV file with the columns light and signal, in the folder of this file."""


class TableHere(TypedDict):
    """A curve as a table."""

    kind: Literal["table"]
    codes: NotRequired[Codes]
    """Whether these values times 1023 are full-range or legal-range codes."""
    light: Annotated[list[float], length(2)]
    """1 is a perfect white diffuser."""
    signal: Annotated[list[float], length(2)]
    """0 to 1 of full scale."""


class DefinedGamut(TypedDict):
    """Primaries and white, as CIE xy."""

    primaries: tuple[Point, Point, Point]
    """[x, y] of red, green and blue."""
    white: NotRequired[Annotated[White | Point, usual("D65")]]
    """A name, or [x, y]."""
    source: NotRequired[str]
    """The source of the values."""


class Definitions(TypedDict):
    """Curves and gamuts by name."""

    curves: NotRequired[dict[str, LogCurve | PowerCurve | TableFile | TableHere]]
    """[curves."A name"]"""
    gamuts: NotRequired[dict[str, DefinedGamut]]
    """[gamuts."A name"]"""
