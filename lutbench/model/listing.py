"""What is listed of curves, gamuts, tones and gamut mappings."""

from __future__ import annotations

from dataclasses import dataclass
from math import log2
from typing import TYPE_CHECKING

from lutbench.model.catalogue import Entry, Origin
from lutbench.model.curves.base import MID_GREY
from lutbench.model.gamuts import XY
from lutbench.model.light import Light, Side
from lutbench.model.signal import Range
from lutbench.results import PlainData

if TYPE_CHECKING:
    from lutbench.model.parameter import Parameter


@dataclass(frozen=True)
class CurveEntry(PlainData):
    """A curve of the catalogue; figures are null where it cannot be used."""

    name: str
    aliases: tuple[str, ...]
    origin: Origin
    usable: bool
    reason: str | None
    family: str | None = None
    source: str | None = None
    codes: Range | None = None
    light: Light | None = None
    note: str | None = None
    mid_grey_signal: float | None = None
    black_signal: float | None = None
    white_signal: float | None = None
    clip_stops: float | None = None
    """Stops over mid grey."""
    falls: str | None = None

    @classmethod
    def of(cls, entry: Entry) -> CurveEntry:
        """What is listed of a curve."""
        usable, curve = not entry.unusable, entry.curve
        head = (entry.name, entry.aliases, entry.origin, usable, entry.unusable or None)
        if curve is None:
            return cls(*head)
        of_curve = (curve.family, curve.source, curve.codes, curve.kind_of_light)
        note = curve.note or None
        if not usable:
            return cls(*head, *of_curve, note)
        black, grey, white = curve.encode([0.0, MID_GREY, 1.0]).tolist()
        stops = log2(curve.clip / MID_GREY)
        return cls(*head, *of_curve, note, grey, black, white, stops, _falls(entry))


def _falls(entry: Entry) -> str | None:
    """Where a curve falls, in words; a curve of this package never does (a test says so)."""
    if entry.origin == "standard" or entry.curve is None:
        return None
    from lutbench.model.curves.usable import falls
    from lutbench.model.registered import judged

    known = judged().get(entry.name) if entry.origin == "registry" else None
    return (known.falls if known else falls(entry.curve)) or None


@dataclass(frozen=True)
class GamutEntry(PlainData):
    """A gamut of the catalogue; points are CIE xy."""

    name: str
    aliases: tuple[str, ...]
    origin: Origin
    source: str
    primaries: tuple[XY, XY, XY]
    white: XY

    @classmethod
    def of(cls, entry: Entry) -> GamutEntry:
        """What is listed of a gamut."""
        gamut = entry.gamut
        assert gamut is not None
        points = gamut.source, gamut.primaries, gamut.white
        return cls(entry.name, entry.aliases, entry.origin, *points)


@dataclass(frozen=True)
class ToneEntry(PlainData):
    """A tone mapper."""

    name: str
    says: str
    light: Side | None
    """The light that it works on: display light in cd/m², or the light that source and target
    share."""
    settings: tuple[Parameter, ...]


@dataclass(frozen=True)
class MappingEntry(PlainData):
    """A way to treat colours outside the target gamut."""

    name: str
    says: str
    settings: tuple[Parameter, ...]


def tone_entries() -> list[ToneEntry]:
    """All tone mappers."""
    from lutbench.model.parameter import parameters
    from lutbench.model.tone import tone_mapper, tone_names

    found = []
    for name in tone_names():
        mapper = tone_mapper(name)
        says = mapper.says if mapper else "light brighter than white is clipped"
        settings = parameters(mapper) if mapper else ()
        found.append(ToneEntry(name, says, mapper.side if mapper else None, settings))
    return found


def mapping_entries() -> list[MappingEntry]:
    """All ways to treat colours outside the target gamut."""
    from lutbench.model.compression import GamutCompression
    from lutbench.model.gamut_map import GamutMapping
    from lutbench.model.parameter import parameters

    return [
        MappingEntry("clip", "each channel is clipped at black and white", ()),
        MappingEntry("compress", GamutCompression.says, parameters(GamutCompression)),
        MappingEntry("map", GamutMapping.says, parameters(GamutMapping)),
    ]
