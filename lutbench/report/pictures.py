"""The pictures that reports put through a LUT: a photograph and the measured chart.

The photograph ``data/cup.jpg`` is in the public domain (CC0), made smaller from
one that scikit-image carries too.
"""

from __future__ import annotations

from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench.analysis.samples import chart_light
from lutbench.media.stills import Still, read_still
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709, BT2020, Gamut, conversion
from lutbench.model.signal import RangeFromSignal

if TYPE_CHECKING:
    from lutbench.analysis.inspection import Inspection

Picture = NDArray[np.float32]

HIGHLIGHT_GAIN = 3.0
"""White of the photograph lies at 1 + 3 times white: two stops over, as a camera records it."""

PATCH, GAP = 44, 5


def photograph() -> Picture:
    """The photograph as sRGB signal, shape (320, 480, 3)."""
    with as_file(files("lutbench") / "data" / "cup.jpg") as path:
        return read_still(path).signal()


def photograph_light() -> NDArray[np.float64]:
    """The photograph as linear BT.709 light whose highlights reach two stops over white.

    A display picture holds nothing over white; light·(1 + 3·light³) opens its
    highlights up and leaves mid grey within 2 %.
    """
    light = Srgb().decode(photograph())
    return np.asarray(light * (1 + HIGHLIGHT_GAIN * light**3))


def recorded(light: NDArray[Any], source: Encoding) -> Picture:
    """Linear BT.709 light as values that a camera of that encoding records, held to 0..1."""
    coded = np.clip(source.curve.encode(conversion(BT709, source.gamut).apply(light)), 0, 1)
    values = RangeFromSignal(source.range, source.bits).apply(coded)
    return np.asarray(values, dtype=np.float32)


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
    pixels = photograph() if source is None else recorded(photograph_light(), source)
    return Still(pixels, ("R", "G", "B"), "float")


def chart_picture(found: Inspection) -> Picture:
    """The measured 24-patch chart as it would be recorded, shape (height, width, 3)."""
    source = source_of(found)
    light = chart_light(BT709)
    if source is None:
        patches = np.clip(Srgb().encode(light), 0, 1).astype(np.float32)
        ground = np.float32(0.18)
    else:
        patches = recorded(light, source)
        ground = recorded(np.full((1, 3), 0.04), source)[0]
    height, width = 4 * PATCH + 5 * GAP, 6 * PATCH + 7 * GAP
    picture = np.empty((height, width, 3), np.float32)
    picture[:] = ground
    for number, colour in enumerate(patches):
        row, column = divmod(number, 6)
        top, left = GAP + row * (PATCH + GAP), GAP + column * (PATCH + GAP)
        picture[top : top + PATCH, left : left + PATCH] = colour
    return picture
