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

from lutbench.media import subjects
from lutbench.media.still.pixels import shrunk
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.media.subjects import HEIGHT_PX, WIDTH_PX, two_skins
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY

RECORDED_BITS = 10
"""Bits of a drawn still's codes, as in a camera recording."""

MOST_PX_WIDE = 1920
"""Pixels: a wider still is averaged down, so that a page stays small enough for a phone."""


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
    small = shrunk(picture, MOST_PX_WIDE)
    note = f"{still.width} × {still.height}, {still.depth} bit, as recorded"
    if small.shape != picture.shape:
        note += f", averaged down to {small.shape[1]} × {small.shape[0]}"
    if still.depth in ("half", "float"):
        note = note.replace(" bit", "") + ", clipped to 0..1"
    codes = np.round(np.clip(small, 0, 1) * 65535).astype(np.uint16)
    return BenchStill(Path(path).name, note, png_of_codes(codes))


def grey_ramp(source: Encoding) -> NDArray[np.float64]:
    """Grey from far below mid grey to clipping: BT.709 light, (height, width, 3)."""
    top = float(np.log2(max(source.curve.clip, 2 * MID_GREY) / MID_GREY))
    stops = np.linspace(DARKEST_STOP, top, WIDTH_PX)
    light = np.repeat((MID_GREY * 2.0**stops)[None, :], HEIGHT_PX, axis=0)
    light[HEIGHT_PX // 2 :] = MID_GREY * 2.0 ** np.round(stops)
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
