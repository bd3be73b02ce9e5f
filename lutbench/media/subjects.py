"""Pictures for judging a LUT: a photograph, the measured chart and two skins, as recorded.

The photograph belongs to the demo set; it is in the public domain (CC0), as distributed by
scikit-image. The skins are shaded shapes in the measured colours of the chart, no person.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.samples import chart24, chart_light
from lutbench.media.still.still import Still, read_still
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.signal import RangeFromSignal
from lutbench.resources import demo_files

Picture = NDArray[np.float32]

HIGHLIGHT_GAIN = 3.0
"""White of the photograph becomes 1 + 3 times as bright: two stops over white, as recorded."""

PATCH_PX = 44
"""Side of a patch in pixels: the chart fits a page in half its width."""

GAP_PX = 5
"""Pixels between patches: enough to tell them apart."""

WIDTH_PX = 640
"""Width of a drawn picture in pixels: enough to judge a ramp or a face by, small in a page."""

HEIGHT_PX = 400
"""Height of a drawn picture in pixels, for the same reason."""

FINER = 2
"""Samples along each side of a pixel."""

# The height of the centre, and the half axes across, down and in depth; 1 is the picture's height.
SHOULDERS = (0.86, (0.30, 0.22, 0.2))
HEAD = (0.42, (0.2, 0.28, 0.24))
KEY_LIGHT = np.array([-0.5, -0.55, 0.67])
FILL_SHARE = 0.16
"""Share of the light that comes from all sides, so that the shadow side is not black."""

SHEEN_LIGHT = 0.25
"""Light that a glossy spot adds to the skin's own."""


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
    height, width = 4 * PATCH_PX + 5 * GAP_PX, 6 * PATCH_PX + 7 * GAP_PX
    picture = np.empty((height, width, 3), np.float32)
    picture[:] = ground
    for number, colour in enumerate(patches):
        row, column = divmod(number, 6)
        top, left = (
            GAP_PX + row * (PATCH_PX + GAP_PX),
            GAP_PX + column * (PATCH_PX + GAP_PX),
        )
        picture[top : top + PATCH_PX, left : left + PATCH_PX] = colour
    return picture


def two_skins() -> NDArray[np.float64]:
    """A light and a dark shape beside a white and a grey card: BT.709 light, (height, width, 3)."""
    y, x = np.mgrid[0 : HEIGHT_PX * FINER, 0 : WIDTH_PX * FINER] / (HEIGHT_PX * FINER)
    skins = dict(zip(chart24()[0], chart_light(BT709), strict=True))
    picture = np.empty((*x.shape, 3))
    picture[:] = (0.05 + 0.05 * y)[..., None]
    for centre, skin in ((0.42, skins["light skin"]), (1.18, skins["dark skin"])):
        for height, sizes in (SHOULDERS, HEAD):
            _shade(picture, (x - centre, y - height), sizes, skin)
    for top, reflectance in ((0.30, 0.9), (0.52, MID_GREY)):
        picture[(np.abs(x - 0.8) < 0.09) & (y > top) & (y < top + 0.18)] = reflectance
    return np.asarray(picture.reshape(HEIGHT_PX, FINER, WIDTH_PX, FINER, 3).mean(axis=(1, 3)))


def _shade(
    picture: NDArray[np.float64],
    place: tuple[NDArray[Any], NDArray[Any]],
    sizes: tuple[float, float, float],
    colour: NDArray[np.float64],
) -> None:
    """Lay an ellipsoid over the picture: diffuse light from the upper left, fill, a soft sheen."""
    across, down = place[0] / sizes[0], place[1] / sizes[1]
    depth = np.sqrt(np.maximum(1 - across**2 - down**2, 0))
    inside = across**2 + down**2 < 1
    normal = np.stack([across / sizes[0], down / sizes[1], depth / sizes[2]], axis=-1)
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9)
    key = KEY_LIGHT / np.linalg.norm(KEY_LIGHT)
    diffuse = np.maximum(normal @ key, 0)
    half = key + np.array([0.0, 0.0, 1.0])
    sheen = SHEEN_LIGHT * np.maximum(normal @ (half / np.linalg.norm(half)), 0) ** 30
    lit = (FILL_SHARE + (1 - FILL_SHARE) * diffuse)[..., None] * colour + sheen[..., None]
    picture[inside] = lit[inside]


def still_of(values: NDArray[Any]) -> Still:
    """Full-scale values as a 16-bit still."""
    codes = np.round(np.clip(values, 0, 1) * 65535).astype(np.uint16)
    return Still(codes, ("R", "G", "B"), "16")
