"""The output of `compare`, `verify`, `display` and `monitor`."""

from __future__ import annotations

from typing import Literal, TypedDict

from lutbench.checks.limits import CheckFigure
from lutbench.checks.runner import Report
from lutbench.display.calibration import Calibrated
from lutbench.display.check import DisplayCheck as Checked
from lutbench.display.reach import Reach
from lutbench.display.target import Target
from lutbench.measure.comparison import WorstColour
from lutbench.measure.difference import Spread
from lutbench.measure.guesses import Explanation
from lutbench.media.probe.read import ProbeReading
from lutbench.schemas.reports.common import Point, Schema


class SetMeasures(TypedDict):
    """The difference between two sides over one set of colours."""

    count: int
    delta_e_2000: Spread
    delta_e_itp: Spread
    code_10bit: Spread


class CodeSpread(TypedDict):
    """Code values at the depth of ``--bits``."""

    bits: Literal[8, 10, 12, 16]
    mean: float
    p95: float
    p99: float
    max: float


class CompareFigures(TypedDict):
    """The difference between two sides, where it is, and why."""

    schema: Schema
    a: str
    b: str
    delta_e_2000: Spread
    delta_e_itp: Spread
    code_10bit: Spread
    code_values: CodeSpread
    measure: Literal["delta_e_2000", "delta_e_itp"]
    """The measure that suits this target."""
    size: str
    """The size of the difference in words."""
    seen_on: str
    sets: dict[str, SetMeasures]
    worst: list[WorstColour]
    explanation: list[Explanation]
    assumed: list[str]
    """What was assumed, since it was not given."""
    limits: list[CheckFigure]


class ViewedPatch(TypedDict):
    """A patch in both views."""

    name: str
    luminance: tuple[float, float]
    """cd/m², with both whites at 203."""
    delta_e_itp: float


class LookInViews(TypedDict):
    """The effect of a look in two views, in ΔE ITP over the patches that it changes in B."""

    effect: Spread
    """The effect in B."""
    parted: Spread
    """The difference between the effect in A and that in B."""
    share: float
    """The mean of `parted` divided by that of `effect`: 0 for a look with the same effect."""


class CompareViews(TypedDict):
    """With ``--as-views``: the difference between two views of one recording."""

    schema: Schema
    a: str
    b: str
    patches: list[ViewedPatch]
    delta_e_itp: Spread
    look: LookInViews | None
    """Null unless both sides are of recipes with a look."""


Compare = CompareFigures | CompareViews


class VerifyRun(TypedDict):
    """The outcomes of the suites."""

    schema: Schema
    passed: bool
    suites: list[Report]


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
    """Of patches, each predicted from the others."""
    delta_e_itp: Spread
    delta_e_2000_additive: float | None
    residual: bool
    additivity: float | None
    """White divided by the sum of red, green and blue."""
    drift: float | None
    primaries: tuple[Point, Point, Point]
    white: Point
    white_luminance: float
    black_luminance: float
    notes: list[str]
    target: Target
    reach: Reach


class DisplayCalibrate(TypedDict):
    """The LUT that brings a display to a target."""

    schema: Schema
    file: str
    measured: str
    target: Target
    _made: Calibrated


class DisplayCheck(TypedDict):
    """A display against a target."""

    schema: Schema
    file: str
    holds: bool
    _check: Checked


class MonitorDraw(TypedDict):
    """The files for the test of a monitor."""

    schema: Schema
    size: int
    """Nodes along an edge of the probe LUT."""
    files: list[str]


MonitorRead = ProbeReading
