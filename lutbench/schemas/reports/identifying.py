"""The output of `inspect`, `identify` and `split`."""

from __future__ import annotations

from typing import Any, Literal, NotRequired, TypedDict

from lutbench.identification.groups import Group
from lutbench.identification.measured import MeasuredCurve
from lutbench.identification.result import Look, MedianErrors, SameAs, Tone
from lutbench.inspection.inspection import Inspection
from lutbench.measure.difference import Measures
from lutbench.schemas.reports.common import Encoding, Point, Rgb, Schema, Unreadable

Confidence = Literal["high", "medium", "low", "none"]
Word = Literal["sure", "likely", "a guess", "not told"]


class Side(Encoding):
    """The source or target of a candidate."""

    rendering: NotRequired[Literal["scene", "display"]]
    """Of PQ: whether the light is that of the scene or of the display."""


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
    """Parts that the LUT does not reveal: their names are only the nearest, or are assumed."""
    probabilities: dict[str, float]
    """By part, 0 to 1: how often such names are right."""
    certainty: dict[str, Word]
    """By part, in a word: ``likely`` from 90 %, ``a guess`` above 50 %. Empty for candidates after
    the first."""


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


Inspect = Inspection | Unreadable
"""One report for each line."""

Identify = Identification | Unreadable
"""One report for each line."""


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
