"""The output of `levels` and `list`."""

from __future__ import annotations

from typing import TypedDict

from lutbench.exposure.levels import Levels as LevelsOfOne
from lutbench.exposure.sets import SetLevels
from lutbench.model.listing import CurveEntry, GamutEntry, MappingEntry, ToneEntry
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


class ListTones(TypedDict):
    """The tone mappers."""

    schema: Schema
    tones: list[ToneEntry]


class ListMappings(TypedDict):
    """The gamut mappings."""

    schema: Schema
    mappings: list[MappingEntry]
