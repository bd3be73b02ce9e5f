"""Pictures for judging a LUT: a photograph and the measured chart, as a camera records them.

The photograph belongs to the demo set; it is in the public domain (CC0), as distributed by
scikit-image.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.samples import chart_light
from lutbench.media.still.still import Still, read_still
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.signal import RangeFromSignal
from lutbench.resources import demo_files

Picture = NDArray[np.float32]

HIGHLIGHT_GAIN = 3.0
"""White of the photograph becomes 1 + 3 times as bright: two stops over white, as recorded."""

PATCH, GAP = 44, 5
"""Side of a patch, and gap between patches, in pixels: the chart fits a page in half its width."""


def photograph() -> Picture:
    """The photograph as sRGB signal, shape (400, 600, 3)."""
    with demo_files() as folder:
        return read_still(folder / "photograph.png").signal()


def photograph_light() -> NDArray[np.float64]:
    """The photograph as linear BT.709 light with highlights up to two stops over white.

    A display picture has nothing above white. Each pixel is multiplied by 1 + 3·Y³, with Y its
    luminance. This extends the highlights, changes mid grey by less than 2 % and keeps each
    chromaticity; applied to channels, it would make saturated colours unnaturally strong.
    """
    light = Srgb().decode(photograph())
    luminance = light @ np.array(BT709.luminance_weights)
    return np.asarray(light * (1 + HIGHLIGHT_GAIN * luminance**3)[..., None])


def recorded(light: NDArray[Any], source: Encoding) -> Picture:
    """Linear BT.709 light as values recorded in that encoding, clipped to 0..1."""
    coded = np.clip(source.curve.encode(conversion(BT709, source.gamut).apply(light)), 0, 1)
    values = RangeFromSignal(source.range, source.bits).apply(coded)
    return np.asarray(values, dtype=np.float32)


def chart_picture(source: Encoding | None) -> Picture:
    """The measured 24-patch chart as recorded, or as sRGB signal for None; shape (h, w, 3)."""
    light = chart_light(BT709)
    ground: Any = np.float32(0.18)
    if source is None:
        patches = np.clip(Srgb().encode(light), 0, 1).astype(np.float32)
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


def still_of(values: NDArray[Any]) -> Still:
    """Full-scale values as a 16-bit still."""
    codes = np.round(np.clip(values, 0, 1) * 65535).astype(np.uint16)
    return Still(codes, ("R", "G", "B"), "16")
