"""A recipe: LUTs to build."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Any, Literal, NotRequired, TypedDict

from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import KINDS, PLACES
from lutbench.model.light import REFERENCE_SURROUND_CD_M2
from lutbench.model.tone import tone_mapper, tone_names
from lutbench.recipes.false_colour import BandKeys
from lutbench.recipes.keys import CurveName, GamutName, Hint, between, length, usual, words
from lutbench.recipes.profile import Profile
from lutbench.recipes.schema import Shaper
from lutbench.recipes.tasks import CdlKeys

Range = Annotated[str, words(lambda: ("full", "legal"))]
Interpolation = Annotated[str, words(lambda: ("tetrahedral", "trilinear")), usual("tetrahedral")]
Three = tuple[float, float, float]
Bits = Literal[8, 10, 12, 16]
_COMPRESSION = {each.name: each.default for each in fields(GamutCompression)}


class RecipeEnd(TypedDict):
    """The source or target of a conversion."""

    curve: NotRequired[CurveName]
    """A name from `lutbench list curves`; needed, except in the target of a `gamut`."""
    gamut: NotRequired[GamutName]
    """A name from `lutbench list gamuts`; needed, except for a `curve`."""
    range: NotRequired[Range]
    """The range of the codes in the file or on the cable; as the curve is published by
    default."""
    bits: NotRequired[Annotated[Bits, usual(10)]]
    """The bit depth of legal-range codes."""
    black: NotRequired[float]
    """With BT.1886: the display's black divided by its white."""
    white: NotRequired[float]
    """With ST 2084 and BT.2100 PQ: the luminance of light 1.0 in cd/m²."""
    display_peak: NotRequired[float]
    """The peak in cd/m² of the display that the picture is viewed on."""
    display_black: NotRequired[float]
    """With display_peak: the display's black in cd/m²."""
    surround: NotRequired[Annotated[float, usual(REFERENCE_SURROUND_CD_M2)]]
    """With display_peak, for HLG: the luminance around the picture in cd/m²."""


class RecipeTarget(RecipeEnd):
    """The encoding that is shown or delivered."""

    measured: NotRequired[str]
    """A CSV file of meter readings of the display that the LUT is loaded into."""


class WhiteBalance(TypedDict):
    """White balance, in linear light of the source."""

    gains: NotRequired[Three]
    """Gains of red, green and blue, instead of `kelvin`."""
    kelvin: NotRequired[Annotated[float, between(1667, 25000)]]
    """The colour temperature of the light."""
    tint: NotRequired[Annotated[float, between(-50, 50), usual(0.0)]]
    """From −50 (magenta) to 50 (green), in thousandths of Duv."""
    balanced_for: NotRequired[Annotated[float, usual(5600.0)]]
    """The colour temperature that the camera was set to."""


class GamutHandling(TypedDict):
    """How colours outside the target gamut are treated."""

    method: NotRequired[Annotated[str, words(lambda: ("clip", "compress", "map")), usual("clip")]]
    """They are clipped, compressed into the gamut, or mapped into it at constant hue."""
    adaptation: NotRequired[Annotated[str, words(lambda: ("bradford", "cat02", "cat16", "none"))]]
    """The chromatic adaptation between white points."""
    knee: NotRequired[Annotated[float, between(0, 0.95), usual(0.5)]]
    """For `map`: share of the gamut's chroma up to which colours do not change."""
    thresholds: NotRequired[Annotated[Three, usual(list(_COMPRESSION["thresholds"]))]]
    """For `compress`: distances at which it starts."""
    limits: NotRequired[Annotated[Three, usual(list(_COMPRESSION["limits"]))]]
    """For `compress`: distances that are moved to the edge of the gamut."""
    power: NotRequired[Annotated[float, usual(_COMPRESSION["power"])]]
    """For `compress`: how sharply it bends."""


class RecipeLook(TypedDict):
    """A look on top of the conversion."""

    place: NotRequired[Annotated[str, words(lambda: PLACES), usual("after")]]
    """On the source signal, in linear light of the target gamut, or on the result."""
    file: NotRequired[str]
    """A .cc, .cdl, .ccc#ID, .clf or .cube file in the folder of the recipe."""
    cdl: NotRequired[CdlKeys]
    saturation: NotRequired[Annotated[float, usual(1.0)]]
    """A factor, after the file and the CDL."""


def _tone() -> dict[str, Any]:
    """`[tone]`: the settings of all tone mappers, with the default of each."""
    kinds = {bool: "boolean", int: "integer", float: "number", str: "string"}
    types: dict[str, set[str]] = {}
    owners: dict[str, list[str]] = {}
    for name in tone_names():
        mapper = tone_mapper(name)
        for key, default in (mapper.settings() if mapper else {}).items():
            types.setdefault(key, set()).add(kinds[type(default)])
            owners.setdefault(key, []).append(f"{name} (default {default})")
    settings = {
        key: {"type": sorted(types[key]), "description": f"For {', '.join(owners[key])}."}
        for key in types
    }
    method: dict[str, Any] = {
        "type": "string",
        "default": "shoulder",
        "description": "How light is mapped.",
    }
    return {
        "type": "object",
        "properties": {"method": method | words(tone_names).extra(), **settings},
        "additionalProperties": False,
    }


Tone = Annotated[Any, Hint(_tone)]


class Given(TypedDict):
    """The settings of a LUT besides source and target."""

    exposure: NotRequired[Annotated[float, usual(0.0)]]
    """Exposure in stops, applied to scene light."""
    white_balance: NotRequired[WhiteBalance]
    tone: NotRequired[Tone]
    """How light is mapped to the display."""
    gamut: NotRequired[GamutHandling]
    look: NotRequired[RecipeLook]
    size: NotRequired[Annotated[int, between(2, 65536)]]
    """Nodes along an edge, 2 to 256 (default 33); rows of a 1D LUT (default 1024)."""
    dimensions: NotRequired[Annotated[Literal[1, 3], usual(3)]]
    """3, or 1 for a `curve`."""
    shaper: NotRequired[Shaper]
    interpolation: NotRequired[Interpolation]
    """The interpolation for which the accuracy is measured."""
    decimals: NotRequired[Annotated[int, between(4, 12), usual(6)]]
    """Digits after the decimal point in the file."""
    clamp: NotRequired[Annotated[bool, usual(True)]]
    """Clip the result to 0..1."""
    as_found: NotRequired[Annotated[bool, usual(False)]]
    """Use the light of the source as that of the target, even if one is scene light and the
    other display light."""


class Shared(Given):
    """The settings that can be at the top, for all LUTs, or in one LUT."""

    source: NotRequired[RecipeEnd]
    """The encoding that is recorded."""
    target: NotRequired[RecipeTarget]
    """The encoding that is shown or delivered."""


class NamedSource(RecipeEnd):
    """One of several sources."""

    lut: NotRequired[Given]
    """Further settings of its LUTs."""


class NamedDisplay(RecipeTarget):
    """One of several displays."""

    lut: NotRequired[Given]
    """Further settings of its LUTs."""


class RecipeLut(Shared):
    """A LUT to build."""

    name: Annotated[str, Hint(lambda: {"minLength": 1, "maxLength": 200})]
    """The file name without suffix; it can have folders, {source} and {display}."""
    title: NotRequired[str]
    """The title in the file; by default the recipe's title and the name."""
    kind: NotRequired[Annotated[str, words(lambda: (*KINDS, "false_colour")), usual("combined")]]
    """Tone and gamut, only the tone, only the gamut, or bands of colour."""
    sources: NotRequired[str | list[str]]
    """The sources that it is made for; by default all."""
    displays: NotRequired[str | list[str]]
    """The displays that it is made for; by default all."""
    exposure_ladder: NotRequired[list[float]]
    """Exposures in stops; one LUT is made for each."""
    bands_in: NotRequired[Annotated[str, words(lambda: ("stops", "cd/m2")), usual("stops")]]
    """For a `false_colour`: the unit of the ends of its bands."""
    bands: NotRequired[list[BandKeys]]
    """The bands of a `false_colour`; by default five built-in ones."""


class Recipe(Shared):
    """LUTs to build, and the settings that they share."""

    title: NotRequired[str]
    """The beginning of the title of each LUT."""
    definitions: NotRequired[str | list[str]]
    """Files with your own curves and gamuts, in the folder of the recipe."""
    profile: NotRequired[Profile]
    sources: NotRequired[dict[str, NamedSource]]
    """[sources.NAME]: each LUT is made for each source and display."""
    displays: NotRequired[dict[str, NamedDisplay]]
    """[displays.NAME]"""
    lut: Annotated[list[RecipeLut], length(1, 500)]
    """[[lut]]"""
