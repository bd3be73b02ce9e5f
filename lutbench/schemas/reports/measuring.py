"""The output of `compare`, `verify`, `display` and `monitor`."""

from __future__ import annotations

from typing import TypedDict

from lutbench.checks.limits import CheckFigure
from lutbench.checks.runner import Report
from lutbench.display.calibration import Calibrated
from lutbench.display.check import DisplayCheck as Checked
from lutbench.display.fit import DisplayFit as Fit
from lutbench.display.reach import Reach
from lutbench.display.target import Target
from lutbench.measure.comparison import Comparison
from lutbench.measure.views import LookApart, ViewsApart
from lutbench.media.probe.read import ProbeReading
from lutbench.schemas.reports.common import Schema


class CompareFigures(TypedDict):
    """The difference between two sides, where it is, and why."""

    schema: Schema
    a: str
    b: str
    _found: Comparison
    limits: list[CheckFigure]


class CompareViews(TypedDict):
    """With ``--as-views``: the difference between two views of one recording."""

    schema: Schema
    a: str
    b: str
    _apart: ViewsApart
    look: LookApart | None
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
    _fit: Fit
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
