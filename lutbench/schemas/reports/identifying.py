"""What `identify` and `split` print."""

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

Confidence = Literal["high", "medium", "low"]


class Side(Encoding):
    """One end of a candidate."""

    rendering: NotRequired[Literal["display"]]
    """There where the light is that of a display."""


class SameAs(TypedDict):
    """Names that cannot be told from those of the candidate."""

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
    """Parts that the LUT does not tell."""
    probabilities: dict[str, float]
    """By part, 0 to 1."""


class FittedCdl(TypedDict):
    """The ASC CDL that explains a look, and what it leaves."""

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
    """What is left when the conversion is taken out."""

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
    """Whether it is that of the target's curve."""
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
    """Light, and the signal of it."""


class MeasuredCurve(TypedDict):
    """A curve without a name, as the LUT shows it."""

    black_signal: float
    grey_signal: float
    signal_per_stop: float
    nearest: str | None
    nearest_range: Literal["full", "legal"]
    codes_off: float | None
    """10-bit codes from the nearest."""
    light: list[float]
    signal: list[float]


class MeasuredGamut(TypedDict):
    """Primaries without a name, as the LUT shows them."""

    name: str
    primaries: tuple[Point, Point, Point]
    """CIE xy of red, green and blue."""
    white: Point
    against: str
    """The target gamut that they hold with."""
    against_supposed: bool
    """Whether that is the likeliest of several, since a LUT shows only the product of both."""


class Measured(TypedDict):
    """Parts without a name."""

    source_curve: MeasuredCurve | None
    source_gamut: MeasuredGamut | None


class Claim(TypedDict):
    """Something that the file says of itself, held against its table."""

    part: str
    """``source curve`` and so on, ``kind``, ``exposure``; a side alone where a name of a curve
    and of a gamut stands in a title."""
    says: str
    verdict: Literal["so", "not_so", "open"]
    shows: str | None
    """What the LUT shows instead, where that is told."""


class Identification(TypedDict):
    """What is inside a LUT."""

    schema: Schema
    file: NotRequired[str]
    """Of the command; an identification in Python knows none."""
    kind: Literal["identity", "curve", "gamut", "combined", "unknown"]
    confidence: Confidence
    explanation: str
    candidates: list[Candidate]
    """Best first."""
    look: Look
    tone: Tone | None
    measured: Measured | None
    claims: list[Claim]
    """What the file says of itself."""
    notes: list[str]


Identify = Identification | Unreadable
"""One a line."""


class Group(TypedDict):
    """LUTs that are alike but for what they differ in."""

    differ_in: list[str]
    files: list[str]
    details: list[str]
    """What each has of what they differ in, in the order of `files`."""
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
    """A LUT taken apart."""

    schema: Literal[2]
    file: str
    kept: list[Literal["curve", "gamut", "look"]]
    written: list[str]
    kind: Literal["identity", "curve", "gamut", "combined", "unknown"]
    conversion: Conversion
    recipe: Conversion | None
    """What the LUT was built from, where that leaves nothing but the file's rounding."""
    confidence: Confidence
    explanation: str
    look: Look
    cdl: Cdl | None
    measure: Literal["delta_e_2000", "delta_e_itp"]
    error: dict[str, Measures]
    """How far the chain of the parts is from the LUT, by set of colours."""
    own_error: dict[str, Measures]
    """How far the LUT is from the exact conversion and look."""
