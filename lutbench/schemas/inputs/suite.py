"""A suite: checks to run."""

from __future__ import annotations

from typing import Annotated, Literal, NotRequired, TypedDict

from lutbench.checks.kinds.baseline import PARTS
from lutbench.checks.kinds.invariants import DEFAULT_HOLD, INVARIANTS
from lutbench.checks.kinds.picture import DEPTHS
from lutbench.checks.limits import NAMES
from lutbench.inspection.finding import SEVERITIES
from lutbench.inspection.registry import all_limits, codes
from lutbench.schemas.making import Hint
from lutbench.schemas.words import (
    CurveName,
    GamutName,
    Interpolation,
    Range,
    length,
    limits,
    names,
    usual,
    words,
)

Texts = str | list[str]
Bits = Literal[8, 10, 12, 16]


Limits = Annotated[dict[str, float], limits(lambda: NAMES)]
Sha256 = Annotated[str, Hint(lambda: {"pattern": "^[0-9A-Fa-f]{64}$"})]


class SuiteEnd(TypedDict):
    """The source or target encoding of a LUT."""

    curve: CurveName
    gamut: NotRequired[Annotated[GamutName, usual("BT.709")]]
    range: NotRequired[Range]
    """By default as the curve's codes are published."""
    bits: NotRequired[Annotated[Bits, usual(10)]]


class AnyCheck(TypedDict):
    """The keys that all checks have."""

    name: str
    tags: NotRequired[Texts]
    """Words for selecting checks."""
    reason: NotRequired[str]
    """Why this is checked; shown when it fails."""


class BaselineCheck(AnyCheck):
    """A LUT against its recorded output."""

    kind: Literal["baseline"]
    lut: str
    """A file, RECIPE.toml#NAME, or a pipeline in words."""
    baseline: str
    """A .csv or .cube that `verify --record` writes."""
    limits: NotRequired[Annotated[dict[str, float], limits(lambda: (*NAMES, PARTS))]]
    source: NotRequired[SuiteEnd]
    target: NotRequired[SuiteEnd]


class BytesCheck(AnyCheck):
    """A recipe's LUT, byte for byte; against `file` or `sha256`."""

    kind: Literal["bytes"]
    lut: str
    """RECIPE.toml#NAME"""
    file: NotRequired[str]
    sha256: NotRequired[Sha256]


class CurveCheck(AnyCheck):
    """A curve against published values."""

    kind: Literal["curve"]
    curve: CurveName
    points: list[tuple[float, float]]
    """[[light, signal], ...]"""
    within: NotRequired[Annotated[float, usual(5e-6)]]
    """The tolerance in signal."""


class HealthCheck(AnyCheck):
    """What `inspect` must not find."""

    kind: Literal["health"]
    lut: str
    forbid: NotRequired[str | list[Annotated[str, names(codes)]]]
    """Findings that must not occur; instead of `allow` and `severity`."""
    allow: NotRequired[str | list[Annotated[str, names(codes)]]]
    """Findings that may occur."""
    severity: NotRequired[Annotated[str, words(lambda: SEVERITIES), usual("warning")]]
    """Findings of this severity or worse must not occur."""
    limits: NotRequired[Annotated[dict[str, float], limits(all_limits)]]
    source: NotRequired[SuiteEnd]
    target: NotRequired[SuiteEnd]


class InvariantsCheck(AnyCheck):
    """Properties that hold for any sound LUT."""

    kind: Literal["invariants"]
    lut: str
    hold: NotRequired[
        Annotated[str | list[Annotated[str, names(lambda: INVARIANTS)]], usual(list(DEFAULT_HOLD))]
    ]
    limits: NotRequired[Annotated[dict[str, float], limits(lambda: INVARIANTS)]]
    """In 10-bit codes."""
    inverse: NotRequired[str]
    """The inverse LUT, for `round_trip`."""


class LevelsPoint(TypedDict):
    """Light by `reflectance` or `stops`, and its output as `percent`, `signal` or `code`."""

    reflectance: NotRequired[float]
    """1 is a perfect white diffuser."""
    stops: NotRequired[float]
    """Stops from mid grey."""
    percent: NotRequired[float]
    """Percent of the nominal signal."""
    signal: NotRequired[float]
    """0 is nominal black, 1 nominal white."""
    code: NotRequired[float]
    """A code value at the depth `bits`, in `range`."""
    within: NotRequired[float]
    """The tolerance, in the same unit."""
    bits: NotRequired[Annotated[Bits, usual(10)]]
    range: NotRequired[Annotated[Range, usual("full")]]


class LevelsCheck(AnyCheck):
    """The levels of light after a LUT."""

    kind: Literal["levels"]
    lut: str
    source: NotRequired[SuiteEnd]
    target_range: NotRequired[Range]
    points: list[LevelsPoint]


class ManifestCheck(AnyCheck):
    """The SHA-256 of a set's files."""

    kind: Literal["manifest"]
    file: str


class MatrixCheck(AnyCheck):
    """The matrix between two gamuts against published values."""

    kind: Literal["matrix"]
    source: GamutName
    target: GamutName
    adaptation: NotRequired[
        Annotated[str, words(lambda: ("bradford", "cat02", "cat16", "none")), usual("bradford")]
    ]
    rows: list[list[float]]
    """Three rows of three numbers."""
    within: NotRequired[Annotated[float, usual(5.1e-5)]]


class PictureCheck(AnyCheck):
    """A still through a LUT against a stored still."""

    kind: Literal["picture"]
    lut: str
    still: str
    stored: str
    """A PNG, TIFF, DPX or OpenEXR file that `verify --record` writes."""
    depth: NotRequired[Annotated[str, words(lambda: DEPTHS)]]
    interpolation: NotRequired[Interpolation]
    limits: NotRequired[Limits]
    target: NotRequired[SuiteEnd]


class ReferenceCheck(AnyCheck):
    """A LUT against a pipeline (`exact`), colour-science (`colour_science`), or `values`."""

    kind: Literal["reference"]
    lut: str
    exact: NotRequired[str]
    """A pipeline in words, a LUT file, or "RECIPE.toml#NAME; exact"."""
    colour_science: NotRequired[str]
    """A pipeline in words, computed by colour-science."""
    values: NotRequired[str]
    """A CSV file with the columns r, g, b, r_out, g_out, b_out."""
    limits: NotRequired[Limits]
    colours: NotRequired[Texts]
    """Sets of test colours: chart, neutral, random."""
    unit: NotRequired[Annotated[str, words(lambda: ("signal", "percent", "code")), usual("signal")]]
    """The unit of the values."""
    bits: NotRequired[Annotated[Bits, usual(10)]]
    range: NotRequired[Annotated[Range, usual("full")]]
    source: NotRequired[SuiteEnd]
    target: NotRequired[SuiteEnd]


class RegistryCheck(AnyCheck):
    """All curves or gamuts of the catalogue against colour-science."""

    kind: Literal["registry"]
    what: Literal["curves", "gamuts"]


class WrittenCheck(AnyCheck):
    """Whether a file's table is still the one that was written."""

    kind: Literal["written"]
    lut: str
    recipe: NotRequired[Sha256]
    """SHA-256 of the recipe that it must come from."""


CheckOfSuite = (
    BaselineCheck
    | BytesCheck
    | CurveCheck
    | HealthCheck
    | InvariantsCheck
    | LevelsCheck
    | ManifestCheck
    | MatrixCheck
    | PictureCheck
    | ReferenceCheck
    | RegistryCheck
    | WrittenCheck
)


class SuiteFile(TypedDict):
    """Checks to run."""

    title: NotRequired[str]
    definitions: NotRequired[Texts]
    """Files with your own curves and gamuts, in the folder of the suite."""
    check: Annotated[list[CheckOfSuite], length(1, 10_000)]
    """[[check]]"""
