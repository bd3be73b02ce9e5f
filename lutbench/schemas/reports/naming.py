"""The output of `levels` and `list`."""

from __future__ import annotations

from typing import Literal, TypedDict

from lutbench.exposure.levels import Levels as LevelsOfOne
from lutbench.exposure.sets import SetLevels
from lutbench.model.light import Light
from lutbench.model.signal import Range
from lutbench.schemas.reports.common import Point, Schema

Levels = LevelsOfOne | SetLevels


class CurveEntry(TypedDict):
    """A curve of the catalogue; figures are null where it cannot be used."""

    name: str
    aliases: list[str]
    origin: Literal["standard", "user", "registry"]
    usable: bool
    reason: str | None
    family: str | None
    source: str | None
    codes: Range | None
    light: Light | None
    note: str | None
    mid_grey_signal: float | None
    black_signal: float | None
    white_signal: float | None
    clip_stops: float | None
    """Stops over mid grey."""
    falls: str | None


class ListCurves(TypedDict):
    """The curves of the catalogue."""

    schema: Schema
    curves: list[CurveEntry]


class GamutEntry(TypedDict):
    """A gamut of the catalogue; points are CIE xy."""

    name: str
    aliases: list[str]
    origin: Literal["standard", "user", "registry"]
    source: str
    primaries: tuple[Point, Point, Point]
    white: Point


class ListGamuts(TypedDict):
    """The gamuts of the catalogue."""

    schema: Schema
    gamuts: list[GamutEntry]


class PartSetting(TypedDict):
    """A setting of a tone or of a gamut mapping."""

    name: str
    default: float | str | list[float] | None
    limits: tuple[float, float] | None
    """The smallest and the largest number; null for words."""
    unit: str | None
    accepted: list[str]
    """The words that it accepts."""


class ToneEntry(TypedDict):
    """A tone mapper."""

    name: str
    says: str
    light: Literal["scene", "display"] | None
    """The light that it works on: display light in cd/m², or the light that source and target
    share."""
    settings: list[PartSetting]


class ListTones(TypedDict):
    """The tone mappers."""

    schema: Schema
    tones: list[ToneEntry]


class MappingEntry(TypedDict):
    """A way to treat colours outside the target gamut."""

    name: str
    says: str
    settings: list[PartSetting]


class ListMappings(TypedDict):
    """The gamut mappings."""

    schema: Schema
    mappings: list[MappingEntry]
