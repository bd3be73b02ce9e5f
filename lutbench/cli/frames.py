"""Options of the commands that put pictures through a LUT."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from lutbench.tables.carried import ValueRanges

F = TypeVar("F", bound=Callable[..., Any])


def interpolation_option(function: F) -> F:
    """``--interpolation tetrahedral|trilinear``."""
    return click.option(
        "--interpolation",
        type=click.Choice(["tetrahedral", "trilinear"]),
        help="Interpolation between the nodes of a 3D LUT. [default: as the LUT states, else "
        "tetrahedral]",
    )(function)


def clip_coding_options(function: F) -> F:
    """``--source-matrix`` and ``--file-range``: how the code values of the file are read."""
    matrix = click.option(
        "--source-matrix",
        type=click.Choice(["BT.601", "BT.709", "BT.2020"], case_sensitive=False),
        help="The Y'CbCr matrix of a clip, instead of the one in its tags.",
    )
    span = click.option(
        "--file-range",
        type=click.Choice(["legal", "full"]),
        help="The range of the codes in IN. [default: of a clip, as its tags state; of a still, "
        "that of the LUT's input]",
    )
    return matrix(span(function))


def value_ranges(lut: Any, named: Any) -> ValueRanges:
    """The ranges of a LUT's values: from the options `named`, else its comments, else full."""
    from lutbench.formats.comments import ends_in_comments
    from lutbench.tables.carried import ValueRanges

    ends = ends_in_comments(getattr(lut, "comments", ()))
    return ValueRanges(
        named.source_range or (ends["source"].range if "source" in ends else "full"),
        named.target_range or (ends["target"].range if "target" in ends else "full"),
    )
