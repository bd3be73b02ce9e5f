"""The project file: settings of a whole shoot."""

from __future__ import annotations

from typing import Annotated, NotRequired, TypedDict

from lutbench.hints import between
from lutbench.schemas.words import CurveName, GamutName, Range


class ProjectEnd(TypedDict):
    """The source or target encoding of the project."""

    curve: NotRequired[CurveName]
    gamut: NotRequired[GamutName]
    range: NotRequired[Range]


class ProjectZebra(TypedDict):
    """The zebra settings of the camera, in percent of signal."""

    lowest: NotRequired[Annotated[float, between(0, 109)]]
    step: NotRequired[float]


class Project(TypedDict):
    """What commands use where their options say nothing."""

    title: NotRequired[str]
    """The production, in the heading of the levels card."""
    exposure_index: NotRequired[str | float]
    """The exposure index, in the heading of the levels card."""
    definitions: NotRequired[str | list[str]]
    """Files with your own curves and gamuts, in the folder of this file."""
    filters: NotRequired[list[float]]
    """The densities of the neutral density filters that you have."""
    source: NotRequired[ProjectEnd]
    """The encoding that is recorded."""
    target: NotRequired[ProjectEnd]
    """The encoding that is shown."""
    zebra: NotRequired[ProjectZebra]
