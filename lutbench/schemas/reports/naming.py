"""The output of `levels` and `list`."""

from __future__ import annotations

from typing import Literal, TypedDict

from lutbench.exposure.levels import Levels as LevelsOfOne
from lutbench.exposure.sets import SetLevels
from lutbench.model.listing import CurveEntry, GamutEntry
from lutbench.schemas.reports.common import Schema

Levels = LevelsOfOne | SetLevels


class ListCurves(TypedDict):
    """The curves of the catalogue."""

    schema: Schema
    curves: list[CurveEntry]


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
