"""HDR metadata of a clip: its mastering display, and how bright its pictures are.

SMPTE ST 2086 (primaries, white and luminances of the display) and CTA-861-H (the brightest pixel
and the brightest mean of a frame, in cd/m²). They are kept where the LUT does not change the
picture, and left out, with a note, where it does.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Transform
from lutbench.tables.lut import lattice
from lutbench.tables.nodes import domain_of

# Names of side data in FFmpeg.
_MASTERING = "MASTERING_DISPLAY_METADATA"
_LIGHT = "CONTENT_LIGHT_LEVEL"
_DYNAMIC = ("DYNAMIC_HDR_PLUS", "DYNAMIC_HDR_VIVID", "DOVI_METADATA", "DOVI_RPU_BUFFER")

UNITS_PER_XY = 50000
"""Units per 1.0 of chromaticity in bit streams (H.264, H.265) and boxes."""

UNITS_PER_CD_M2 = 10000
"""Units per cd/m² in bit streams (H.264, H.265) and boxes."""

_UNCHANGED_CODES = 0.5
"""Largest change in 10-bit codes that counts as none: that of rounding."""


@dataclass(frozen=True)
class Volume:
    """The metadata of a clip's first frame.

    `mastering` has x and y of R, G, B and white, then the lowest and the highest luminance in
    cd/m²; `light` the brightest pixel and the brightest mean in cd/m². `dynamic` names kinds of
    dynamic metadata.
    """

    mastering: tuple[float, ...] = ()
    light: tuple[int, ...] = ()
    dynamic: tuple[str, ...] = field(default=())

    @classmethod
    def of(cls, frame: Any) -> Volume:
        """The metadata of a decoded frame."""
        held = (
            frame.side_data
        )  # looked up by name: PyAV 19 iterates over keys, earlier ones over data
        mastering = _mastering(bytes(held[_MASTERING])) if _MASTERING in held else ()
        light = np.frombuffer(bytes(held[_LIGHT]), np.uint32)[:2] if _LIGHT in held else ()
        dynamic = tuple(name for name in _DYNAMIC if name in held)
        return cls(mastering, tuple(int(each) for each in light), dynamic)

    @property
    def is_empty(self) -> bool:
        """Whether there is no metadata."""
        return not (self.mastering or self.light or self.dynamic)

    @property
    def words(self) -> str:
        """The metadata in words."""
        parts = []
        if self.mastering:
            low, high = self.mastering[8:]
            parts.append(f"the mastering display ({low:g} to {high:g} cd/m²)")
        if self.light:
            most, mean = self.light
            parts.append(f"content light levels ({most} and {mean} cd/m²)")
        if self.dynamic:
            parts.append("dynamic HDR metadata")
        return " and ".join(parts)

    def options_for(self, encoder: str) -> dict[str, str]:
        """The encoder's parameters for the metadata; empty where it has none."""
        names = {"libx264": ("mastering-display", "cll"), "libx265": ("master-display", "max-cll")}
        if encoder not in names:
            return {}
        mastering, light = names[encoder]
        found = {}
        if self.mastering:
            found[mastering] = _in_bit_stream(self.mastering)
        if self.light:
            found[light] = f"{self.light[0]},{self.light[1]}"
        return found


def leaves_alone(transform: Transform) -> bool:
    """Whether the output is the input, to half a 10-bit code."""
    inputs = lattice(17, domain_of(transform)).reshape(-1, 3)
    return bool(np.abs(transform.apply(inputs) - inputs).max() * CODES_10_BIT < _UNCHANGED_CODES)


def _mastering(data: bytes) -> tuple[float, ...]:
    """FFmpeg's AVMasteringDisplayMetadata: ten fractions, and two flags for what is present."""
    numbers = np.frombuffer(data, np.int32)[:22].astype(np.float64)
    tops, bottoms = numbers[0:20:2], numbers[1:20:2]
    if not numbers[20:].all() or not bottoms.all():
        return ()
    return tuple((tops / bottoms).tolist())


def _in_bit_stream(mastering: tuple[float, ...]) -> str:
    r, g, b, white = (
        tuple(round(each * UNITS_PER_XY) for each in mastering[at : at + 2]) for at in (0, 2, 4, 6)
    )
    low, high = (round(each * UNITS_PER_CD_M2) for each in mastering[8:])
    points = "".join(f"{name}({x},{y})" for name, (x, y) in zip("GBR", (g, b, r), strict=True))
    return f"{points}WP({white[0]},{white[1]})L({high},{low})"
