"""The output of `inspect`."""

from __future__ import annotations

from typing import Literal, TypedDict

from lutbench.exposure.levels import Level
from lutbench.formats.digest import Written
from lutbench.inspection.box import Box
from lutbench.inspection.facts import ChangeMade, DepthReport, Evidence
from lutbench.inspection.finding import Finding, Severity
from lutbench.inspection.hue import HueShift
from lutbench.schemas.reports.common import (
    Encoding,
    Rgb,
    Schema,
    Unreadable,
)

Kind = Literal["identity", "curve", "gamut", "combined"]

Ramped = TypedDict("Ramped", {"slope": float, "in": float})
MidGrey = TypedDict("MidGrey", {"in": float, "out": float, "known": bool})
Clip = TypedDict("Clip", {"from": float, "share": float, "level": float})


class Shaper(TypedDict):
    """The 1D LUT before a 3D one."""

    size: int
    domain: tuple[Rgb, Rgb]


class Source(Encoding):
    """The encoding of the recording."""

    known_by: Literal["named", "file", "project", "identified"] | None


class SeenAs(Encoding):
    """The encoding by which the output is seen."""

    known_by: Literal["named", "file", "identified"] | None
    """None where it is only assumed."""


class NeutralAxis(TypedDict):
    """What the LUT does to greys; signals are 0 to 1 of full scale."""

    black: Rgb
    white: Rgb
    mid_grey: MidGrey
    slope_at_mid_grey: float
    steepest: Ramped
    clipped_low: Clip | None
    clipped_high: Clip | None
    monotone: bool
    greatest_fall_10bit_codes: float
    tint_10bit_codes: float
    """The largest difference between channels."""
    tint_at: float
    """The input where it is."""


class Contrast(TypedDict):
    """Signal per stop around mid grey, before and after the LUT."""

    signal_per_stop_before: float
    signal_per_stop_after: float
    ratio: float | None


class Separated(TypedDict):
    """The highest and lowest stop that still differ by one 8-bit code from the next."""

    highest_stop: int | None
    lowest_stop: int | None


class Scene(TypedDict):
    """The LUT in stops."""

    curve: str
    contrast_at_mid_grey: Contrast
    roll_off_stops: float | None
    separated: Separated


class Inspection(TypedDict):
    """What a LUT does, and what is wrong with it."""

    schema: Schema
    file: str | None
    kind: Kind
    type: Literal["lut1d", "lut3d", "shaper_lut3d", "transform"]
    size: int
    domain: tuple[Rgb, Rgb]
    shaper: Shaper | None
    format: str | None
    title: str
    comments: list[str]
    notes: list[str]
    written: Written | None
    verdict: str
    change: ChangeMade
    box: Box
    evidence: Evidence
    source: Source
    seen_as: SeenAs
    neutral_axis: NeutralAxis
    levels: list[Level]
    scene: Scene | None
    bit_depth: list[DepthReport]
    hue: HueShift | None
    worst: Severity | None
    findings: list[Finding]
    """Worst first."""
    not_examined: list[str]
    limits: dict[str, float]
    """By code of finding, in its unit."""


Inspect = Inspection | Unreadable
"""One report for each line."""
