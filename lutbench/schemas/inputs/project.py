"""The project file: what holds for a whole shoot."""

from __future__ import annotations

from typing import Annotated, NotRequired, TypedDict

from lutbench.schemas.words import CurveName, GamutName, Range, between


class ProjectEnd(TypedDict):
    """An end of the project's pictures."""

    curve: NotRequired[CurveName]
    gamut: NotRequired[GamutName]
    range: NotRequired[Range]


class ProjectZebra(TypedDict):
    """The zebra that the camera offers, percent of signal."""

    lowest: NotRequired[Annotated[float, between(0, 109)]]
    step: NotRequired[float]


class Project(TypedDict):
    """What a command takes where its command line says nothing."""

    title: NotRequired[str]
    """Head of the levels card."""
    exposure_index: NotRequired[str | float]
    """The same."""
    definitions: NotRequired[str | list[str]]
    """Files with curves and gamuts of your own, beside this one."""
    filters: NotRequired[list[float]]
    """The densities in the bag."""
    source: NotRequired[ProjectEnd]
    """What is recorded."""
    target: NotRequired[ProjectEnd]
    """What is shown."""
    zebra: NotRequired[ProjectZebra]
