"""Counting the pixels of a clip that are clipped, and reporting them.

Codes above nominal white and below black are values above 1 and below 0. A LUT clips values to
its domain, and the codes of the output have limits too.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.media.clip.coding import ClipCoding
from lutbench.media.clip.ycbcr import Coding, encoding_numbers
from lutbench.media.clip.ycbcr_loops import compiled
from lutbench.model.signal import code_from_signal
from lutbench.model.transforms import Transform
from lutbench.results import PlainData
from lutbench.tables.lut import Lut

NOTED_SHARE = 0.001
"""Share of clipped pixels from which there is a note; edges of subsampled chroma and codec noise
stay below it. All pixels are counted."""

_HALF_CODES = 0.5
"""Code values by which a pixel must be beyond a limit to count: rounding loses as much."""


@dataclass
class Cuts(PlainData):
    """The number of pixels of a run, and of those that were clipped."""

    KEYS = ("pixels", "over_domain", "under_domain", "over_codes", "under_codes")

    transform: Transform
    """From signal to signal."""
    source: ClipCoding
    """How the clip's codes are read."""
    target: Coding
    """How the output's codes are written."""
    pixels: int = 0
    over_domain: int = 0
    """Brighter than the LUT takes."""
    under_domain: int = 0
    """Darker than the LUT takes."""
    over_codes: int = 0
    """Came out over the highest code."""
    under_codes: int = 0
    """Came out under the lowest code."""
    _ends: NDArray[np.float32] | None = field(default=None, repr=False)
    _stays_inside: bool = field(default=False, repr=False)
    _counting: Lock = field(default_factory=Lock, repr=False)  # several threads count

    def __post_init__(self) -> None:
        if isinstance(self.transform, Lut):
            step = _HALF_CODES / self._white_step
            low, high = self.transform.domain
            self._ends = np.stack([low - step, high + step]).astype(np.float32)
            # With all nodes from 0 to 1 so is the output, which any code can hold.
            table = self.transform.table
            self._stays_inside = bool(table.min() >= 0 and table.max() <= 1)

    @property
    def _white_step(self) -> float:
        """The number of codes of the clip from signal 0 to 1."""
        return float(Coding("BT.709", self.source.range, self.source.bits).luma_scale[1])

    def going_in(self, rgb: NDArray[np.float32]) -> None:
        """Count the pixels of `rgb`, (3, lines, width), that are outside the LUT's domain."""
        found = (0, 0) if self._ends is None else _counted(_outside(), rgb, self._ends)
        with self._counting:
            self.pixels += rgb.shape[1] * rgb.shape[2]
            self.over_domain += found[0]
            self.under_domain += found[1]

    def coming_out(self, rgb: NDArray[np.float32]) -> None:
        """Count the pixels of `rgb`, (3, lines, width), that no code of the output can hold."""
        if self._stays_inside:
            return
        low, high = self.target.code_limits
        limits = (low - _HALF_CODES, high + _HALF_CODES)
        numbers = np.array([*encoding_numbers(self.target), *limits], np.float32)
        over, under = _counted(_beyond_codes(), rgb, numbers)
        with self._counting:
            self.over_codes += over
            self.under_codes += under

    def notes(self) -> list[str]:
        """What was clipped, in words, where it is more than a negligible share."""
        found: list[str] = []
        if not self.pixels:
            return found
        bits = f"{self.source.bits} bit"
        for count, end, word, beyond in (
            (self.over_domain, 1, "brighter", "over"),
            (self.under_domain, 0, "darker", "under"),
        ):
            if count >= NOTED_SHARE * self.pixels:
                code = self._code(end)
                found.append(
                    f"{self._share(count)} of the pixels are {word} than the LUT takes ({beyond} "
                    f"code {code:.0f} of {bits}) and were clipped: a LUT made for legal range, or "
                    "with a wider domain, keeps them"
                )
        beyond_codes = self.over_codes + self.under_codes
        if beyond_codes >= NOTED_SHARE * self.pixels:
            low, high = self.target.code_limits
            found.append(
                f"{self._share(beyond_codes)} of the pixels came out beyond "
                f"{self.target.range} range (codes {low:.0f} to {high:.0f} of "
                f"{self.target.bits} bit) and were clipped"
            )
        return found

    def _code(self, end: int) -> float:
        assert isinstance(self.transform, Lut)
        value = self.transform.domain[end]
        at = value.min() if end else value.max()
        return float(code_from_signal(at, self.source.bits, self.source.range))

    def _share(self, count: int) -> str:
        return f"{100 * count / self.pixels:.2g} %"


def planar(rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """R G B of shape (lines, width, 3), with its channels moved to the first axis."""
    return np.ascontiguousarray(np.moveaxis(rgb, -1, 0))


def _counted(kernel: Any, rgb: NDArray[np.float32], limits: NDArray[np.float32]) -> tuple[int, int]:
    """The numbers of pixels above and below the limits."""
    counts = np.zeros(2, np.int64)
    kernel(rgb.reshape(3, -1), limits, counts)
    return int(counts[0]), int(counts[1])


def _count_outside(rgb, ends, counts):  # type: ignore[no-untyped-def]
    """Count pixels with a channel above, and with one below, the ends."""
    over = under = none = np.int32(0)  # of 32 bits, as the pixels: more of them fit a register
    one = np.int32(1)
    r0, g0, b0 = ends[0, 0], ends[0, 1], ends[0, 2]
    r1, g1, b1 = ends[1, 0], ends[1, 1], ends[1, 2]
    for x in range(rgb.shape[1]):
        r, g, b = rgb[0, x], rgb[1, x], rgb[2, x]
        over = np.int32(over + (one if (r > r1) | (g > g1) | (b > b1) else none))
        under = np.int32(under + (one if (r < r0) | (g < g0) | (b < b0) else none))
    counts[0] = over
    counts[1] = under


def _count_beyond(rgb, numbers, counts):  # type: ignore[no-untyped-def]
    """Count pixels whose Y', Cb or Cr, as in `planes_from_rgb`, is above or below the codes."""
    red, green, blue, black, luma = numbers[0], numbers[1], numbers[2], numbers[3], numbers[4]
    middle, to_cb, to_cr, low, high = numbers[5], numbers[6], numbers[7], numbers[8], numbers[9]
    over = under = 0
    for x in range(rgb.shape[1]):
        r, g, b = rgb[0, x], rgb[1, x], rgb[2, x]
        light = red * r + green * g + blue * b
        y = black + light * luma
        cb = middle + (b - light) * to_cb
        cr = middle + (r - light) * to_cr
        over += (y > high) | (cb > high) | (cr > high)
        under += (y < low) | (cb < low) | (cr < low)
    counts[0] = over
    counts[1] = under


@cache
def _outside() -> Any:
    return _kernel(_count_outside, 2)


@cache
def _beyond_codes() -> Any:
    return _kernel(_count_beyond, 1)


def _kernel(function: Any, dimensions: int) -> Any:
    from numba import types

    rgb = types.Array(types.float32, 2, "C")
    limits = types.Array(types.float32, dimensions, "C")
    counts = types.Array(types.int64, 1, "C")
    return compiled(function, rgb, limits, counts)
