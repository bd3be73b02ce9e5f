"""The output of the commands that make LUTs or put pictures through them."""

from __future__ import annotations

from typing import NotRequired, TypedDict

from lutbench.algebra.result import Reworked
from lutbench.demo import Demo as DemoDone
from lutbench.fitting.match_report import CameraMatch
from lutbench.fitting.pair import PairFit
from lutbench.fitting.patches import PatchFit
from lutbench.formats.convert import ConvertedFile, Loss
from lutbench.measure.difference import Spread
from lutbench.media.chart.picture import ChartReading
from lutbench.media.clip.cuts import Cuts
from lutbench.model.signal import Range
from lutbench.recipes.make import Made
from lutbench.recipes.post import PostLut
from lutbench.schemas.reports.common import Notice, Schema


class Build(TypedDict):
    """The LUTs that `build` made."""

    schema: Schema
    luts: list[Made]
    post: NotRequired[list[PostLut]]
    """With --post."""


class Rework(TypedDict):
    """The LUT that a command of `rework` made; shares (0 to 1) are given for an inverse."""

    schema: Schema
    file: str
    sources: list[str]
    _made: Reworked
    bijective: NotRequired[bool]
    collapsed_share: NotRequired[float]
    folded_share: NotRequired[float]
    unreached_share: NotRequired[float]
    ambiguous_share: NotRequired[float]


class Convert(TypedDict):
    """What `convert` wrote."""

    schema: Schema
    source: ConvertedFile
    target: ConvertedFile
    notes: list[str]
    loss: Loss


class ChartPicture(TypedDict):
    """The chart that `chart` drew."""

    schema: Schema
    file: str
    size: int
    """Colours along an edge of the cube."""
    frame: tuple[int, int]
    """Width and height in pixels."""
    patches: int
    control_patches: int
    patch_pixels: int


class ChartPatches(TypedDict):
    """The patches that `chart --patches` drew."""

    schema: Schema
    table: str
    patches: int
    stills: int


Chart = ChartPicture | ChartPatches


class Capture(TypedDict):
    """What `capture` read and made."""

    schema: Schema
    file: str
    picture: str
    reading: ChartReading
    fit: PatchFit


class Learn(TypedDict):
    """What `learn` made of a still and its grade; shares are 0 to 1."""

    schema: Schema
    file: str
    before: str
    after: str
    _fit: PairFit
    held_out_delta_e_2000: Spread


class Match(TypedDict):
    """The match of two cameras."""

    schema: Schema
    file: str
    source: str
    target: str | None
    """Null for the published values of the chart."""
    _match: CameraMatch


class FailedFrame(TypedDict):
    """A frame that could not be made."""

    source: str
    target: str
    message: str


class Frames(TypedDict):
    """What `apply` did with stills."""

    schema: Schema
    frames: int
    written: int
    skipped: int
    """Finished by an earlier run."""
    failed: list[FailedFrame]
    notes: list[Notice]


class Clip(TypedDict):
    """What `apply` did with a clip."""

    schema: Schema
    frames: int
    codec: str
    cut: Cuts
    notes: list[Notice]


Apply = Frames | Clip


class BenchSource(TypedDict):
    """The encoding of the recording, and how it is known."""

    curve: str
    gamut: str
    range: Range
    told: str


class BenchLut(TypedDict):
    """A LUT on the page."""

    name: str
    title: str
    packing_error: float
    """The error of packing it, in 10-bit codes."""
    sampling_error: float | None
    """The error of sampling it, in 10-bit codes, where it was not a 3D LUT."""


class BenchStill(TypedDict):
    """A still on the page."""

    name: str
    note: str


class Bench(TypedDict):
    """The page that `bench` wrote."""

    schema: Schema
    file: str
    bytes: int
    source: BenchSource | None
    luts: list[BenchLut]
    stills: list[BenchStill]
    notes: list[str]


class Demo(TypedDict):
    """What the demo did."""

    schema: Schema
    _done: DemoDone
