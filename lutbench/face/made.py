"""Helpers of the functions that make LUTs from LUTs."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from lutbench.face import arguments
from lutbench.tables.lut import SIZES_1D, SIZES_3D, USUAL_SIZE, Lut, Lut1D, Lut3D, ShaperLut3D

if TYPE_CHECKING:
    from lutbench.algebra.result import Reworked


def titled(made: Reworked, title: str) -> Reworked:
    """`made` with another title, if one is given."""
    named = arguments.text(title, "title")
    return replace(made, lut=made.lut.with_title(named)) if named else made


def size_of(size: Any) -> int | None:
    """`size` as a number of nodes or rows, or None."""
    return None if size is None else arguments.whole(size, "size", *SIZES_1D)


def as_lut(transform: Any, size: int | None) -> Lut:
    """A LUT unchanged; another transform sampled as a 3D LUT."""
    if isinstance(transform, Lut1D | Lut3D | ShaperLut3D):
        return transform
    from lutbench.tables.nodes import sample

    return sample(transform, size if size is not None and size <= SIZES_3D[1] else USUAL_SIZE)
