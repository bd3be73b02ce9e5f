"""The pictures that a report of one LUT shows, recorded as its source would record them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.media import subjects
from lutbench.media.still.still import Still
from lutbench.media.subjects import Picture
from lutbench.model.conversion import Encoding
from lutbench.model.gamuts import BT709, BT2020, Gamut

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection


def gamut_for_pictures(found: Inspection) -> Gamut:
    """The gamut of the recording; where it is not known, one that is likely.

    BT.709 for a LUT that leaves the gamut alone, else BT.2020, as wide as most
    recordings are.
    """
    if found.source_gamut is not None:
        return found.source_gamut
    return BT709 if found.kind in ("curve", "identity") else BT2020


def source_of(found: Inspection) -> Encoding | None:
    """What the recording is; None where its curve is not known."""
    if found.source_curve is None:
        return None
    return Encoding(found.source_curve, gamut_for_pictures(found), found.source_range)


def our_still(found: Inspection) -> Still:
    """The photograph as it would be recorded; as sRGB signal where the source is not known."""
    source = source_of(found)
    pixels = (
        subjects.photograph()
        if source is None
        else subjects.recorded(subjects.photograph_light(), source)
    )
    return Still(pixels, ("R", "G", "B"), "float")


def chart_picture(found: Inspection) -> Picture:
    """The measured 24-patch chart as it would be recorded, shape (height, width, 3)."""
    return subjects.chart_picture(source_of(found))
