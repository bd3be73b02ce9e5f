"""The pictures in a report of one LUT, as its source encoding would record them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench.media import subjects
from lutbench.media.still.still import Still
from lutbench.media.subjects import Picture
from lutbench.media.toned import LABEL, for_page, hdr_to_sdr, is_hdr
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709, BT2020, Gamut
from lutbench.model.signal import SignalFromRange
from lutbench.model.transforms import Pipeline, Transform

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection


def gamut_for_pictures(found: Inspection) -> Gamut:
    """The gamut of the recording; where it is not known, a likely one.

    BT.709 for a LUT that does not change the gamut, else BT.2020, which is about as wide as
    the gamuts of most recordings.
    """
    if found.source_gamut is not None:
        return found.source_gamut
    return BT709 if found.kind in ("curve", "identity") else BT2020


def source_of(found: Inspection) -> Encoding | None:
    """The encoding of the recording; None where its curve is not known."""
    if found.source_curve is None:
        return None
    return Encoding(found.source_curve, gamut_for_pictures(found), found.source_range)


def shown_through(found: Inspection, picture: NDArray[Any]) -> Picture:
    """A picture through the LUT as a page can show it, with HDR tone-mapped."""
    after = np.asarray(found.lut.apply(picture), dtype=np.float32)
    return for_page(after, found.seen_as)


def shown_lut(found: Inspection) -> tuple[str, Transform]:
    """Label and LUT for a contact sheet; HDR output is tone-mapped, and the label says so."""
    target = found.seen_as
    if target.range == "full" and not is_hdr(target):
        return found.name, found.lut
    if not is_hdr(target):
        return found.name, Pipeline((found.lut, SignalFromRange(target.range, target.bits)))
    return f"{found.name} ({LABEL})", Pipeline((found.lut, hdr_to_sdr(target)))


def our_still(found: Inspection) -> Still:
    """The photograph as it would be recorded; as sRGB signal where the source is not known."""
    source = source_of(found)
    pixels = (
        subjects.photograph()
        if source is None
        else subjects.recorded(subjects.photograph_light(), source)
    )
    return Still(pixels, ("R", "G", "B"), "float")


def our_faces(found: Inspection) -> Still:
    """Two skins with a white and a grey card, as they would be recorded; else as sRGB signal."""
    source = source_of(found) or Encoding(Srgb(), BT709)
    return Still(subjects.recorded(subjects.two_skins(), source), ("R", "G", "B"), "float")


def chart_picture(found: Inspection) -> Picture:
    """The measured 24-patch chart as it would be recorded, shape (height, width, 3)."""
    return subjects.chart_picture(source_of(found))
