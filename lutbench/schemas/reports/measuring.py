"""What `compare`, `verify` and `display` print."""

from __future__ import annotations

from typing import Literal, TypedDict

from lutbench.model.signal import Range
from lutbench.schemas.reports.common import (
    DeltaE,
    Figure,
    Lut,
    Point,
    Rgb,
    Schema,
    Spread,
)


class SetMeasures(TypedDict):
    """How far two sides are apart over one set of colours."""

    count: int
    delta_e_2000: Spread
    delta_e_itp: Spread
    code_10bit: Spread


class CodeSpread(Spread):
    """Code values at the depth that was asked for."""

    bits: Literal[8, 10, 12, 16]


class Worst(TypedDict):
    """One of the colours that are furthest apart."""

    set: str
    label: str
    input: Rgb
    a: Rgb
    b: Rgb
    delta_e_2000: float
    delta_e_itp: float
    code_10bit: float
    swatch_a: str
    """As sRGB, #rrggbb."""
    swatch_b: str


class Cause(TypedDict):
    """A simple reason."""

    code: str
    text: str
    left: float
    """ΔE 2000 (the 95th percentile) that it leaves."""
    amount: float | None


class CompareFigures(TypedDict):
    """How far two sides are apart, where, and why."""

    schema: Schema
    a: str
    b: str
    delta_e_2000: Spread
    delta_e_itp: Spread
    code_10bit: Spread
    code_values: CodeSpread
    measure: Literal["delta_e_2000", "delta_e_itp"]
    """The one that counts for this target."""
    size: str
    """How much that is, in words."""
    seen_on: str
    sets: dict[str, SetMeasures]
    worst: list[Worst]
    explanation: list[Cause]
    assumed: list[str]
    """What was taken for granted, since nobody said it."""
    limits: list[Figure]


class ViewedPatch(TypedDict):
    """A patch in both views."""

    name: str
    luminance: tuple[float, float]
    """cd/m², with both whites at 203."""
    delta_e_itp: float


class LookInViews(TypedDict):
    """What one look does in two views, in ΔE ITP over the patches on which B shows it."""

    effect: Spread
    """What it does in B."""
    parted: Spread
    """How far what it does in A is from that."""
    share: float
    """The mean of `parted` over that of `effect`: 0 for a look that does the same in both."""


class CompareViews(TypedDict):
    """With ``--as-views``: how far two views of one recording are apart."""

    schema: Schema
    a: str
    b: str
    patches: list[ViewedPatch]
    delta_e_itp: Spread
    look: LookInViews | None
    """There where both sides have a look of their recipes."""


Compare = CompareFigures | CompareViews


class Check(TypedDict):
    """What became of a check."""

    name: str
    kind: str
    status: Literal["passed", "failed", "error", "recorded"]
    summary: str
    where: str
    show: str
    """The command line that shows it."""
    tags: list[str]
    reason: str
    figures: list[Figure]
    seconds: float


class Suite(TypedDict):
    """What became of a suite."""

    suite: str
    title: str
    passed: bool
    counts: dict[str, int]
    """By status."""
    checks: list[Check]


class VerifyRun(TypedDict):
    """What became of the suites."""

    schema: Schema
    passed: bool
    suites: list[Suite]


class ListedCheck(TypedDict):
    """A check that would run."""

    suite: str
    name: str
    kind: str
    tags: list[str]
    reason: str


class VerifyList(TypedDict):
    """The checks of ``verify --list``."""

    schema: Schema
    checks: list[ListedCheck]


Verify = VerifyRun | VerifyList


class DisplayTarget(TypedDict):
    """What a display is held against; luminances in cd/m²."""

    curve: str
    gamut: str
    peak: float
    black: float
    mastered_at: float | None
    surround: float | None
    """Of HLG."""


class Reach(TypedDict):
    """What a display can show; coverages and the share of colours are 0 to 1."""

    peak: float
    white: float
    black: float
    contrast: float
    coverage_xy: float
    coverage_uv: float
    colours: float


class DisplayPatches(TypedDict):
    """The patches that were drawn."""

    schema: Schema
    table: str
    patches: int
    stills: int


class DisplayFit(TypedDict):
    """How a measured display behaves."""

    schema: Schema
    file: str
    patches: int
    coding: str
    left_out_patches: int
    delta_e_2000: Spread
    """At patches that were left out."""
    delta_e_itp: Spread
    delta_e_2000_additive: float | None
    residual: bool
    additivity: float | None
    """White over the sum of red, green and blue."""
    drift: float | None
    primaries: tuple[Point, Point, Point]
    white: Point
    white_luminance: float
    black_luminance: float
    notes: list[str]
    target: DisplayTarget
    reach: Reach


class DisplayCalibrate(TypedDict):
    """The LUT that brings a display to a target."""

    schema: Schema
    file: str
    measured: str
    target: DisplayTarget
    lut: Lut
    expected: dict[str, DeltaE]
    """As the fitted model says, by set of colours."""


class CheckedPatch(TypedDict):
    """A patch as it was read; XYZ in cd/m²."""

    name: str
    signal: Rgb
    xyz: Rgb
    wanted_xyz: Rgb
    delta_e_2000: float
    delta_e_itp: float


class CheckedGrey(TypedDict):
    """A step of the grey scale; luminances in cd/m²."""

    level: float
    luminance: float
    wanted: float
    gamma: float | None
    gamma_wanted: float | None
    balance: Rgb
    xy: Point
    delta_e_2000: float
    delta_e_itp: float


class DisplayCheck(TypedDict):
    """A display against a target."""

    schema: Schema
    file: str
    holds: bool
    target: DisplayTarget
    patches: list[CheckedPatch]
    greys: list[CheckedGrey]
    spreads: dict[str, DeltaE]


class MonitorDraw(TypedDict):
    """The files of the test of a monitor."""

    schema: Schema
    size: int
    """Nodes along an edge of the probe LUT."""
    files: list[str]


class MonitorAnswer(TypedDict):
    """What a row of the board says; `sound` is null where it says nothing."""

    question: str
    found: str
    sound: bool | None
    advice: str | None


class MonitorRead(TypedDict):
    """What a grab of a monitor's output says."""

    schema: Schema
    size: int
    codes: Range
    """The board that was read."""
    sound: bool
    answers: list[MonitorAnswer]
    line_at: float | None
    """Signal at which the line in the ramp stands."""
