"""Parts of several reports. Codes are full-scale 10-bit code values (0 to 1023)."""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

from lutbench.model.signal import Range
from lutbench.model.transforms import Rgb as Rgb

Point = tuple[float, float]
Schema = Literal[1]


class Encoding(TypedDict):
    """The source or target encoding of a LUT; null where it is not known."""

    curve: str | None
    gamut: str | None
    range: Range


class Unreadable(TypedDict):
    """One of several files that could not be read."""

    schema: Schema
    file: str
    error: str


class Notice(TypedDict):
    """What a user ought to know."""

    message: str
    frames: NotRequired[int]
    """The number of frames that it applies to."""
