"""A recipe: LUTs to build."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Any, Literal, NotRequired, TypedDict

from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import KINDS, PLACES
from lutbench.model.false_colour import OKABE_ITO
from lutbench.model.light import REFERENCE_SURROUND
from lutbench.model.tone import tone_mapper, tone_names
from lutbench.recipes.profile import LADDER
from lutbench.schemas.making import Hint
from lutbench.schemas.words import (
    CurveName,
    GamutName,
    Interpolation,
    Range,
    between,
    length,
    names,
    usual,
    words,
)

Three = tuple[float, float, float]
Bits = Literal[8, 10, 12, 16]
_COMPRESSION = {each.name: each.default for each in fields(GamutCompression)}


class RecipeEnd(TypedDict):
    """An end of a conversion: what is recorded, or what is shown."""

    curve: NotRequired[CurveName]
    """A name of `lutbench list curves`; needed, save in the target of a `gamut`."""
    gamut: NotRequired[GamutName]
    """A name of `lutbench list gamuts`; needed, save for a `curve`."""
    range: NotRequired[Range]
    """How the file or the cable carries the codes; as the curve's codes are published, if left
    out."""
    bits: NotRequired[Annotated[Bits, usual(10)]]
    """The depth that a legal range is laid out for."""
    black: NotRequired[float]
    """With BT.1886: the display's black over its white."""
    white: NotRequired[float]
    """With ST 2084 and BT.2100 PQ: cd/m² of light 1.0."""
    display_peak: NotRequired[float]
    """The display that the picture is seen on, by its peak in cd/m²."""
    display_black: NotRequired[float]
    """With display_peak: its black in cd/m²."""
    surround: NotRequired[Annotated[float, usual(REFERENCE_SURROUND)]]
    """With display_peak, for HLG: the luminance around the picture in cd/m²."""


class RecipeTarget(RecipeEnd):
    """What is shown, or delivered."""

    measured: NotRequired[str]
    """A CSV file of a meter's readings of the display that the LUT goes to, beside the recipe."""


class WhiteBalance(TypedDict):
    """White balance, in linear light of the source."""

    gains: NotRequired[Three]
    """Gains of red, green and blue; or `kelvin`."""
    kelvin: NotRequired[Annotated[float, between(1667, 25000)]]
    """The colour temperature of the light."""
    tint: NotRequired[Annotated[float, between(-50, 50), usual(0.0)]]
    """−50 is magenta, 50 green; thousandths of Duv."""
    balanced_for: NotRequired[Annotated[float, usual(5600.0)]]
    """The colour temperature that the camera was set to."""


class GamutHandling(TypedDict):
    """What becomes of colours outside the target gamut."""

    method: NotRequired[Annotated[str, words(lambda: ("clip", "compress", "map")), usual("clip")]]
    """Cut off, compressed into it, or mapped into it with their hue kept."""
    adaptation: NotRequired[Annotated[str, words(lambda: ("bradford", "cat02", "cat16", "none"))]]
    """How one white is adapted to another."""
    knee: NotRequired[Annotated[float, between(0, 0.95), usual(0.5)]]
    """For `map`: chroma over the gamut's, up to which colours stay."""
    thresholds: NotRequired[Annotated[Three, usual(list(_COMPRESSION["thresholds"]))]]
    """For `compress`: distances where it starts."""
    limits: NotRequired[Annotated[Three, usual(list(_COMPRESSION["limits"]))]]
    """For `compress`: distances that come to the edge."""
    power: NotRequired[Annotated[float, usual(_COMPRESSION["power"])]]
    """For `compress`: how sharply it bends."""


class RecipeCdl(TypedDict):
    """An ASC CDL."""

    slope: NotRequired[Three]
    offset: NotRequired[Three]
    power: NotRequired[Three]
    saturation: NotRequired[Annotated[float, usual(1.0)]]
    clamp: NotRequired[bool]
    """Hold to 0..1; true except in `light`."""


class RecipeLook(TypedDict):
    """A look on the conversion."""

    place: NotRequired[Annotated[str, words(lambda: PLACES), usual("after")]]
    """On the source signal, in linear light of the target gamut, or on the result."""
    file: NotRequired[str]
    """A .cc, .cdl, .ccc#ID, .clf or .cube file beside the recipe."""
    cdl: NotRequired[RecipeCdl]
    saturation: NotRequired[Annotated[float, usual(1.0)]]
    """A factor, after the file and the CDL."""


class RecipeShaper(TypedDict):
    """A 1D curve before the 3D LUT."""

    curve: NotRequired[CurveName]
    """Laid out for the LUT, if left out."""
    low: NotRequired[Annotated[float, usual(0.0)]]
    """The least input."""
    high: NotRequired[Annotated[float, usual(1.0)]]
    """The greatest input."""
    size: NotRequired[Annotated[int, between(2, 65536)]]
    """Rows; 65536, or with a curve and `high` up to 1 4096, if left out."""


class RecipeBand(TypedDict):
    """A band of false colour."""

    colour: Annotated[str, names(lambda: OKABE_ITO)]
    """#RRGGBB, or a name."""
    low: NotRequired[float]
    """Stops from mid grey, or as `bands_in` says."""
    high: NotRequired[float]
    """Stops from mid grey, or as `bands_in` says."""
    label: NotRequired[str]
    clips: NotRequired[Annotated[bool, usual(False)]]
    """Shown too where any channel is at its highest code, over every other band."""


class Profile(TypedDict):
    """What a picky monitor takes."""

    sizes: NotRequired[list[int]]
    """The 3D sizes that it loads."""
    range: NotRequired[Range]
    """The target range that it expects."""
    name_length: NotRequired[int]
    """Most characters of a file name, suffix included."""
    name_characters: NotRequired[str]
    """The characters it takes in a name, as in a regular expression's brackets."""
    name_case: NotRequired[
        Annotated[str, words(lambda: ("as_written", "upper", "lower")), usual("as_written")]
    ]
    ladder: NotRequired[Annotated[str, usual(LADDER)]]
    """How the LUTs of a ladder are named: {name}, {sign} and {stops}."""
    title: NotRequired[str]
    """A pattern of titles: {set}, {lut} and {exposure}."""
    title_length: NotRequired[int]
    """Titles are cut to this length."""
    title_cut: NotRequired[Annotated[str, words(lambda: ("end", "start")), usual("end")]]
    """Which end of a long title goes."""


def _tone() -> dict[str, Any]:
    """`[tone]`: the settings of every mapper, with the default that each has."""
    kinds = {bool: "boolean", int: "integer", float: "number", str: "string"}
    types: dict[str, set[str]] = {}
    told: dict[str, list[str]] = {}
    for name in tone_names():
        mapper = tone_mapper(name)
        for key, default in (mapper.settings() if mapper else {}).items():
            types.setdefault(key, set()).add(kinds[type(default)])
            told.setdefault(key, []).append(f"{name} (usually {default})")
    settings = {
        key: {"type": sorted(types[key]), "description": f"Of {', '.join(told[key])}."}
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
    """What may stand in a LUT, beside its ends."""

    exposure: NotRequired[Annotated[float, usual(0.0)]]
    """Stops brighter (or darker), after decoding."""
    white_balance: NotRequired[WhiteBalance]
    tone: NotRequired[Tone]
    """How light is brought to the display."""
    gamut: NotRequired[GamutHandling]
    look: NotRequired[RecipeLook]
    size: NotRequired[Annotated[int, between(2, 65536)]]
    """Nodes along an edge, 2 to 256 (33 if left out); rows of a 1D LUT (1024)."""
    dimensions: NotRequired[Annotated[Literal[1, 3], usual(3)]]
    """1 for a `curve` only."""
    shaper: NotRequired[RecipeShaper]
    interpolation: NotRequired[Interpolation]
    """For the measured accuracy."""
    decimals: NotRequired[Annotated[int, between(4, 12), usual(6)]]
    """In the file."""
    clamp: NotRequired[Annotated[bool, usual(True)]]
    """Hold the result to 0..1."""
    as_found: NotRequired[Annotated[bool, usual(False)]]
    """Take the source's light for the target's, whatever side it is on."""


class Shared(Given):
    """What may stand at the top, for all LUTs, or in a LUT."""

    source: NotRequired[RecipeEnd]
    """What is recorded."""
    target: NotRequired[RecipeTarget]
    """What is shown, or delivered."""


class NamedSource(RecipeEnd):
    """One of several sources."""

    lut: NotRequired[Given]
    """What else its LUTs are given."""


class NamedDisplay(RecipeTarget):
    """One of several displays."""

    lut: NotRequired[Given]
    """What else its LUTs are given."""


class RecipeLut(Shared):
    """A LUT to build."""

    name: Annotated[str, Hint(lambda: {"minLength": 1, "maxLength": 200})]
    """The file name without suffix; may hold folders, {source} and {display}."""
    title: NotRequired[str]
    """In the file; the recipe's title and the name, if left out."""
    kind: NotRequired[Annotated[str, words(lambda: (*KINDS, "false_colour")), usual("combined")]]
    """Tone and gamut, tone alone, gamut alone, or bands of colour."""
    sources: NotRequired[str | list[str]]
    """The sources that it is made for; all, if left out."""
    displays: NotRequired[str | list[str]]
    """The displays that it is made for; all, if left out."""
    exposure_ladder: NotRequired[list[float]]
    """Stops: one LUT for each."""
    bands_in: NotRequired[Annotated[str, words(lambda: ("stops", "cd/m2")), usual("stops")]]
    """For a `false_colour`: what the ends of its bands are in."""
    bands: NotRequired[list[RecipeBand]]
    """The bands of a `false_colour`; five of ours, if left out."""


class Recipe(Shared):
    """LUTs to build, and what they have in common."""

    title: NotRequired[str]
    """Starts the title of every LUT."""
    definitions: NotRequired[str | list[str]]
    """Files with curves and gamuts of your own, beside the recipe."""
    profile: NotRequired[Profile]
    sources: NotRequired[dict[str, NamedSource]]
    """[sources.NAME]: every LUT is made for every source and display."""
    displays: NotRequired[dict[str, NamedDisplay]]
    """[displays.NAME]"""
    lut: Annotated[list[RecipeLut], length(1, 500)]
    """[[lut]]"""
