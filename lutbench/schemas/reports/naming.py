"""The output of `levels` and `list`."""

from __future__ import annotations

from typing import Literal, TypedDict

from lutbench.exposure.zebra import HighlightGuard, ZebraAdvice, ZebraSetting
from lutbench.model.light import Light
from lutbench.model.signal import Range
from lutbench.schemas.reports.common import Level, Point, Schema


class End(TypedDict):
    """Light at an end of the signal."""

    reflectance: float
    stops: float | None


class Ends(TypedDict):
    """The light at 0 % and at 100 %; null where there is none."""

    zero_percent: End | None
    hundred_percent: End | None


class ZebraAfterLut(TypedDict):
    """The same for a zebra on the LUT's output."""

    settings: list[ZebraSetting]
    advice: list[ZebraAdvice]
    highlights: HighlightGuard | None


class Zebra(TypedDict):
    """The zebra settings of the camera, in percent of signal."""

    minimum: float
    step: float
    marks_mid_grey: bool
    settings: list[ZebraSetting]
    advice: list[ZebraAdvice]
    highlights: HighlightGuard | None
    after_lut: ZebraAfterLut | None


class NeutralDensity(TypedDict):
    """A neutral density filter."""

    density: float
    parts: list[float]
    """The densities that make it up."""
    nominal_stops: int
    stops: float
    factor: int
    transmission: float


class ChosenDensity(NeutralDensity):
    """A filter for the day."""

    leaves: float
    """Stops that remain; positive is over."""


class FilterChoice(TypedDict):
    """The two filters nearest to the stops of excess light."""

    over_exposure_stops: float
    weaker: ChosenDensity | None
    stronger: ChosenDensity | None
    text: str


class ShownOn(TypedDict):
    """The display that was named, in cd/m²."""

    curve: str
    peak: float
    black: float
    surround: float


class LevelsOfOne(TypedDict):
    """The levels of a curve for the day."""

    schema: Schema
    curve: str
    curve_note: str | None
    codes: Range
    range_note: str
    lut: str | None
    source_range: Range
    target_range: Range
    exposed_stops: float
    """Stops of deliberate over-exposure."""
    levels: list[Level]
    ends: Ends
    after_lut_ends: Ends | None
    zebra: Zebra
    neutral_density: list[NeutralDensity]
    filter_choice: FilterChoice | None
    display: ShownOn | None


class SetMember(TypedDict):
    """A LUT of a set."""

    name: str
    exposure_stops: float | None
    """Stops by which it brightens, where that is known."""
    note: str | None
    """Why it has no levels."""
    levels: LevelsOfOne | None


class LevelsOfSet(TypedDict):
    """The levels of several LUTs."""

    schema: Schema
    exposed_stops: float
    paired: list[str]
    """The LUTs that correct the exposure."""
    advice: str | None
    luts: list[SetMember]


Levels = LevelsOfOne | LevelsOfSet


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
