"""The built-in stills: a photograph, two skins, the measured chart, a grey ramp.

Each starts as light and is then encoded as a camera of the set's encoding records it, in
ten bits, so that the figures under a pointer are whole 10-bit codes. No person is shown:
the two skins are plain shaded shapes in the colours that were measured on the light and
the dark skin patch of the 24-patch chart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.samples import chart24, chart_light
from lutbench.media import subjects
from lutbench.media.still.shrink import shrunk
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.gamuts import BT709

RECORDED_BITS = 10
"""Bits of a drawn still's codes, as in a camera recording."""

WIDEST = 1920
"""Pixels: a wider still is averaged down, so that a page stays small enough for a phone."""

WIDTH, HEIGHT = 640, 400
"""Pixels of a drawn still: enough to judge a ramp or a face by, small in a page."""

FINER = 2
"""Samples along each side of a pixel of a drawn still."""

DARKEST_STOP = -8.0
"""Stops from mid grey at which the ramp begins: darker than a camera can separate from black."""


@dataclass(frozen=True)
class BenchStill:
    """A still for the page: its name, a short description, and a 16-bit PNG."""

    name: str
    note: str
    png: bytes


@lru_cache(maxsize=4)
def built_in_stills(source: Encoding | None) -> tuple[BenchStill, ...]:
    """The four stills as recorded in `source`; two ordinary pictures if `source` is None.

    They are cached, because a served bench is remade whenever a LUT changes.
    """
    if source is None:
        note = "an ordinary picture (sRGB), since the recording's curve is not known"
        return (
            BenchStill("photograph", note, _png(subjects.photograph(), 8)),
            BenchStill("chart", note, _png(subjects.chart_picture(None), 8)),
        )
    recorded = f"recorded in {source.curve.name}, {source.gamut.name}, 10 bit"
    lights = (
        ("photograph", "CC0 photograph", subjects.photograph_light()),
        ("two skins", "shaded shapes in measured skin colours, no person", two_skins()),
        ("grey ramp", "whole stops below, a ramp above", grey_ramp(source)),
    )
    made = [
        BenchStill(name, f"{what}, {recorded}", _png(subjects.recorded(light, source)))
        for name, what, light in lights
    ]
    chart = _png(subjects.chart_picture(source))
    made.insert(2, BenchStill("chart", f"measured 24-patch chart, {recorded}", chart))
    return tuple(made)


def still_of_file(path: str | Path) -> BenchStill:
    """A still of the user's, in any format that `read_still` reads, at its own depth up to 16 bits.

    Raises LutbenchError when it cannot be read.
    """
    still = read_still(path)
    picture = still.signal()
    small = shrunk(picture, WIDEST)
    note = f"{still.width} × {still.height}, {still.depth} bit, as recorded"
    if small.shape != picture.shape:
        note += f", averaged down to {small.shape[1]} × {small.shape[0]}"
    if still.depth in ("half", "float"):
        note = note.replace(" bit", "") + ", clipped to 0..1"
    codes = np.round(np.clip(small, 0, 1) * 65535).astype(np.uint16)
    return BenchStill(Path(path).name, note, png_of_codes(codes))


def two_skins() -> NDArray[np.float64]:
    """A light and a dark shape beside a white and a grey card: BT.709 light, (height, width, 3)."""
    y, x = np.mgrid[0 : HEIGHT * FINER, 0 : WIDTH * FINER] / (HEIGHT * FINER)
    skins = dict(zip(chart24()[0], chart_light(BT709), strict=True))
    picture = np.empty((*x.shape, 3))
    picture[:] = (0.05 + 0.05 * y)[..., None]
    for centre, skin in ((0.42, skins["light skin"]), (1.18, skins["dark skin"])):
        for height, sizes in (SHOULDERS, HEAD):
            _shade(picture, (x - centre, y - height), sizes, skin)
    for top, reflectance in ((0.30, 0.9), (0.52, MID_GREY)):
        picture[(np.abs(x - 0.8) < 0.09) & (y > top) & (y < top + 0.18)] = reflectance
    return np.asarray(picture.reshape(HEIGHT, FINER, WIDTH, FINER, 3).mean(axis=(1, 3)))


# The height of the centre, and the half axes across, down and in depth; 1 is the picture's height.
SHOULDERS = (0.86, (0.30, 0.22, 0.2))
HEAD = (0.42, (0.2, 0.28, 0.24))
KEY_LIGHT = np.array([-0.5, -0.55, 0.67])
FILL = 0.16
"""Share of the light that comes from all sides, so that the shadow side is not black."""

SHEEN = 0.25
"""Light that a glossy spot adds to the skin's own."""


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
    sheen = SHEEN * np.maximum(normal @ (half / np.linalg.norm(half)), 0) ** 30
    lit = (FILL + (1 - FILL) * diffuse)[..., None] * colour + sheen[..., None]
    picture[inside] = lit[inside]


def grey_ramp(source: Encoding) -> NDArray[np.float64]:
    """Grey from far below mid grey to clipping: BT.709 light, (height, width, 3)."""
    top = float(np.log2(max(source.curve.clip, 2 * MID_GREY) / MID_GREY))
    stops = np.linspace(DARKEST_STOP, top, WIDTH)
    light = np.repeat((MID_GREY * 2.0**stops)[None, :], HEIGHT, axis=0)
    light[HEIGHT // 2 :] = MID_GREY * 2.0 ** np.round(stops)
    return np.repeat(light[..., None], 3, axis=-1)


def _png(picture: NDArray[Any], bits: int = RECORDED_BITS) -> bytes:
    """Full-scale values rounded to codes of `bits`, in a 16-bit PNG."""
    peak = 2**bits - 1
    codes = np.round(np.clip(picture, 0, 1) * peak)
    return png_of_codes(np.round(codes / peak * 65535).astype(np.uint16))


def png_of_codes(codes: NDArray[np.uint16]) -> bytes:
    """Sixteen-bit codes, shape (height, width, 3), as a PNG."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "still.png"
        write_still(Still(np.ascontiguousarray(codes), ("R", "G", "B"), "16"), path)
        return path.read_bytes()
