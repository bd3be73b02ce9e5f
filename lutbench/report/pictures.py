"""The pictures that a report of one LUT shows, recorded as its source would record them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench.media import subjects
from lutbench.media.still.still import Still
from lutbench.media.subjects import Picture
from lutbench.media.toned import LABEL, for_page, is_hdr, toned_down
from lutbench.model.conversion import Encoding
from lutbench.model.gamuts import BT709, BT2020, Gamut
from lutbench.model.transforms import Pipeline, Transform

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


def target_of(found: Inspection) -> Encoding:
    """What comes out, as its values are laid out."""
    return Encoding(found.target.curve, found.target.gamut, found.target_range)


def shown_through(found: Inspection, picture: NDArray[Any]) -> Picture:
    """A picture through the LUT, as a page may show it: HDR toned down."""
    after = np.asarray(found.lut.apply(picture), dtype=np.float32)
    return for_page(after, target_of(found))


def shown_lut(found: Inspection) -> tuple[str, Transform]:
    """Label and LUT for a contact sheet: where HDR comes out, toned down and said to be."""
    target = target_of(found)
    if not is_hdr(target):
        return found.name, found.lut
    return f"{found.name} ({LABEL})", Pipeline((found.lut, toned_down(target)))


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
