"""Parts that several reports have. Codes are 10-bit code values of full scale (0 to 1023)."""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

from lutbench.model.signal import Range

Rgb = tuple[float, float, float]
Point = tuple[float, float]
Matrix = tuple[Rgb, Rgb, Rgb]
Schema = Literal[1]


class Spread(TypedDict):
    """How a figure is spread, over the colours that were tried."""

    mean: float
    p95: float
    """95 % lie under it."""
    p99: float
    max: float


class Errors(TypedDict):
    """An error over what was tried."""

    mean: float
    p95: float
    max: float


class MedianErrors(TypedDict):
    """An error over the nodes."""

    median: float
    p95: float


class Measures(TypedDict):
    """How far two transforms are apart."""

    delta_e_2000: Spread
    """CIEDE2000, as on the display that is told."""
    delta_e_itp: Spread
    """ΔE ITP, Recommendation ITU-R BT.2124."""
    code_10bit: Spread
    """10-bit codes of the channel that is furthest off."""


class DeltaE(TypedDict):
    """Two colour differences."""

    delta_e_2000: Spread
    delta_e_itp: Spread


class Lut(TypedDict):
    """A LUT that was made."""

    kind: Literal["lut1d", "lut3d", "shaper_lut3d"]
    title: str
    size: int
    """Nodes along an edge; rows of a 1D LUT."""
    domain: tuple[Rgb, Rgb]
    """Least and greatest input."""


class Figure(TypedDict):
    """A figure that is held against a limit."""

    name: str
    found: float
    limit: float
    label: str
    unit: str
    holds: bool


class Encoding(TypedDict):
    """The names at one end of a LUT; null where nothing tells."""

    curve: str | None
    gamut: str | None
    range: Range


class Unreadable(TypedDict):
    """A file, among several, that could not be read."""

    schema: Schema
    file: str
    error: str


class Notice(TypedDict):
    """What a user ought to know."""

    message: str
    frames: NotRequired[int]
    """How many frames it is true of."""


class CodeValues(TypedDict):
    """Code values by bit depth: the keys are "8", "10" and "12"."""

    full: dict[str, int]
    legal: dict[str, int]


class Reading(TypedDict):
    """A signal, as a waveform shows it."""

    signal: float
    """0 is nominal black, 1 nominal white."""
    percent: float
    """100 times the signal, within what the carrier holds."""
    percent_full_as_legal: float
    """What a waveform shows that takes full-range codes for legal ones."""
    code: CodeValues


class AfterLut(Reading):
    """What a LUT makes of it: the mean of R G B, and the three."""

    rgb: Rgb


class Level(Reading):
    """A line of the table of levels."""

    label: str
    reflectance: float | None
    """0.18 is mid grey, 1 a perfect white diffuser; null where no curve is known."""
    stops: float | None
    """From mid grey; null for no light."""
    clipped: Literal["high", "low"] | None
    luminance: NotRequired[float | None]
    """cd/m² on the display that was named."""
    after_lut: AfterLut | None
