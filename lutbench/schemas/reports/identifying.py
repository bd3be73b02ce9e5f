"""The output of `identify` and `split`."""

from __future__ import annotations

from typing import Any, Literal, NotRequired, TypedDict

from lutbench.schemas.reports.common import (
    Encoding,
    Measures,
    MedianErrors,
    Point,
    Rgb,
    Schema,
    Unreadable,
)

Confidence = Literal["high", "medium", "low", "none"]


class Side(Encoding):
    """The source or target of a candidate."""

    rendering: NotRequired[Literal["scene", "display"]]
    """Of PQ: whether the light is that of the scene or of the display."""


class SameAs(TypedDict):
    """Other names that the LUT cannot distinguish from those of the candidate."""

    source_curve: list[str]
    source_gamut: list[str]
    target_curve: list[str]
    target_gamut: list[str]


class Candidate(TypedDict):
    """A conversion that may be in the LUT."""

    source: Side
    target: Side
    exposure_stops: float
    error: MedianErrors
    """10-bit codes over the nodes."""
    same_as: SameAs
    confidence: Confidence
    adaptation: str | None
    exposure_in_scale_of: dict[str, float]
    """The exposure in stops if the source were scaled as another name says."""
    not_told: list[str]
    """Parts that the LUT does not reveal."""
    probabilities: dict[str, float]
    """By part, 0 to 1."""


class FittedCdl(TypedDict):
    """The ASC CDL that explains a look, and the remaining error."""

    slope: Rgb
    offset: Rgb
    power: Rgb
    saturation: float
    error: MedianErrors
    """10-bit codes."""
    delta_e_2000: MedianErrors


class HueChange(TypedDict):
    """What a look does to one hue."""

    hue: str
    turned_degrees: float
    saturation: float
    """A ratio."""
    luma_percent: float
    delta_e_2000: float
    nodes: int


class ToneChange(TypedDict):
    """What a look does along the grey scale, in L*a*b*."""

    part: str
    lightness: float
    a: float
    b: float


class LookSize(TypedDict):
    """ΔE 2000 over the nodes in gamut."""

    median: float
    p95: float
    max: float


class Look(TypedDict):
    """What remains when the conversion is removed."""

    present: bool
    delta_e_2000: LookSize
    cdl: FittedCdl | None
    saturation: float | None
    """A ratio, over all hues."""
    strong_saturation: float | None
    contrast: float | None
    """A ratio, about mid grey."""
    hues: list[HueChange]
    tones: list[ToneChange]
    description: list[str]


class Tone(TypedDict):
    """The tone of the target."""

    plain: bool
    """Whether the tone is that of the target's curve alone."""
    grey_signal: float
    grey_percent: float
    grey_code_10bit: int
    signal_per_stop: float
    contrast: float | None
    roll_off_stops: float | None
    white_stops: float | None
    white_signal: float
    black_signal: float
    curve: list[Point]
    """Pairs of light and signal."""


class MeasuredCurve(TypedDict):
    """A curve without a name, as the LUT shows it."""

    black_signal: float
    grey_signal: float
    signal_per_stop: float
    nearest: str | None
    nearest_range: Literal["full", "legal"]
    codes_off: float | None
    """Distance from the nearest curve in 10-bit codes."""
    light: list[float]
    signal: list[float]


class MeasuredGamut(TypedDict):
    """Primaries without a name, as the LUT shows them."""

    name: str
    primaries: tuple[Point, Point, Point]
    """CIE xy of red, green and blue."""
    white: Point
    against: str
    """The target gamut that they were derived with."""
    against_supposed: bool
    """Whether that gamut is only the most likely of several; a LUT shows only the product."""


class Measured(TypedDict):
    """Parts without a name."""

    source_curve: MeasuredCurve | None
    source_gamut: MeasuredGamut | None


class Claim(TypedDict):
    """Something that the file says about itself, compared with its table."""

    part: str
    """``source curve`` and so on, ``kind``, ``exposure``; only the side where a name in a title
    is that of a curve and of a gamut."""
    says: str
    verdict: Literal["so", "not_so", "open"]
    shows: str | None
    """What the LUT shows instead, where that is known."""


class Identification(TypedDict):
    """What is inside a LUT."""

    schema: Schema
    file: NotRequired[str]
    """Present in the output of the command, not in `to_dict()` in Python."""
    kind: Literal["identity", "curve", "gamut", "combined", "unknown"]
    confidence: Confidence
    explanation: str
    candidates: list[Candidate]
    """Best first."""
    look: Look
    tone: Tone | None
    measured: Measured | None
    claims: list[Claim]
    """What the file says about itself."""
    notes: list[str]


Identify = Identification | Unreadable
"""One report for each line."""


class Group(TypedDict):
    """LUTs that are equal except in a few named parts."""

    differ_in: list[str]
    files: list[str]
    details: list[str]
    """What is different in each, in the order of `files`."""
    same_values: bool


class Groups(TypedDict):
    """What ``--groups`` writes."""

    schema: Schema
    groups: list[Group]


class Conversion(TypedDict):
    """The conversion without the look: each part as plain data, null where there is none."""

    kind: Literal["combined", "curve", "gamut"]
    source: dict[str, Any]
    target: dict[str, Any]
    exposure: float
    white_balance: dict[str, Any] | None
    adaptation: str
    compression: dict[str, Any] | None
    tone: dict[str, Any] | None
    grade: list[dict[str, Any]]
    grade_place: Literal["light", "before", "after"]
    clamp: bool
    as_found: bool
    mapping: dict[str, Any] | None


class Cdl(TypedDict):
    """An ASC CDL."""

    kind: Literal["cdl"]
    slope: Rgb
    offset: Rgb
    power: Rgb
    saturation: float
    clamp: bool


class Split(TypedDict):
    """A LUT split into its parts."""

    schema: Literal[2]
    file: str
    kept: list[Literal["curve", "gamut", "look"]]
    written: list[str]
    kind: Literal["identity", "curve", "gamut", "combined", "unknown"]
    conversion: Conversion
    recipe: Conversion | None
    """The conversion that the LUT was built from, where it explains it up to rounding."""
    confidence: Confidence
    explanation: str
    look: Look
    cdl: Cdl | None
    measure: Literal["delta_e_2000", "delta_e_itp"]
    error: dict[str, Measures]
    """The distance of the chain of the parts from the LUT, by set of colours."""
    own_error: dict[str, Measures]
    """The distance of the LUT from the exact conversion and look."""
