"""Y'CbCr planes to R G B signal values and back, at full precision.

Matrix and quantisation are from Recommendations ITU-R BT.601-7, BT.709-6 and BT.2020-2
(non-constant luminance), full range from Recommendation ITU-T H.273 (Cb and Cr around 2^(n-1),
scaled by 2^n - 1).

Chroma is upsampled by cubic interpolation (Catmull–Rom) and downsampled by half-band filters:
(-1 9 9 -1)/16 between two samples, (-1 0 9 16 9 0 -1)/32 on a sample. At an edge the last
sample is repeated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.clip.ycbcr_loops import decoder, encoders
from lutbench.model.signal import Range

Matrix = Literal["BT.601", "BT.709", "BT.2020"]
Siting = Literal["left", "center", "topleft", "top"]
SITINGS: tuple[Siting, ...] = ("left", "center", "topleft", "top")

# The weights of R and B in luma.
LUMA_WEIGHTS: dict[str, tuple[float, float]] = {
    "BT.601": (0.299, 0.114),
    "BT.709": (0.2126, 0.0722),
    "BT.2020": (0.2627, 0.0593),
}

BAND_PIXELS = 1 << 15
"""Pixels that are processed at a time: 384 KiB of R G B, which fits the second-level cache."""


@dataclass(frozen=True)
class Coding:
    """How R G B is coded as Y'CbCr code values."""

    matrix: Matrix
    range: Range
    bits: int
    """Of a code value: 8 to 16."""
    across: int = 1
    """The number of luma samples on a line that share a chroma sample: 1 or 2."""
    down: int = 1
    """The number of lines that share one."""
    siting: Siting = "left"
    """The chroma position in directions with two luma samples: ``"left"`` (on the first of two
    columns, between two lines), ``"center"`` (between both), ``"topleft"`` (on the first of both)
    or ``"top"`` (between two columns, on the first line)."""

    def __post_init__(self) -> None:
        if self.matrix not in LUMA_WEIGHTS:
            raise LutbenchError(
                f"no Y'CbCr matrix is named {self.matrix!r}", accepted=", ".join(LUMA_WEIGHTS)
            )

    @property
    def luma_scale(self) -> tuple[float, float]:
        """The code of black, and the number of codes for 1.0."""
        unit = 2.0 ** (self.bits - 8)
        return (16 * unit, 219 * unit) if self.range == "legal" else (0.0, 2.0**self.bits - 1)

    @property
    def chroma_scale(self) -> tuple[float, float]:
        """The code of no colour, and the number of codes for 1.0."""
        middle = 2.0 ** (self.bits - 1)
        unit = 2.0 ** (self.bits - 8)
        return middle, 224 * unit if self.range == "legal" else 2.0**self.bits - 1

    @property
    def code_limits(self) -> tuple[float, float]:
        """The lowest and highest code; legal range leaves out the codes reserved for timing."""
        unit = 2.0 ** (self.bits - 8)
        if self.range == "legal":
            return unit, 255 * unit - 1
        return 0.0, 2.0**self.bits - 1

    def chroma_shape(self, height: int, width: int) -> tuple[int, int]:
        """The numbers of lines, and of samples in a line, of a chroma plane."""
        return -(-height // self.down), -(-width // self.across)


def rgb_from_planes(
    y: NDArray[Any],
    cb: NDArray[Any],
    cr: NDArray[Any],
    width: int,
    coding: Coding,
    *,
    threads: int | None = None,
) -> NDArray[np.float32]:
    """R G B signal values from Y'CbCr planes; values outside 0..1 are kept.

    Parameters
    ----------
    y, cb, cr
        uint8 or uint16, each of shape (lines, samples or more); samples beyond the width of
        the picture, as in a decoder's buffers, are ignored.
    width
        The width of the picture in luma samples.

    Returns
    -------
    ndarray
        Shape (height, width, 3), float32.
    """
    from lutbench.long_work import parallel_for, thread_limit

    height = y.shape[0]
    rgb = np.empty((height, width, 3), np.float32)
    decode = _Decoding((y, cb, cr), width, coding)

    def work(start: int, stop: int) -> None:
        band = np.empty((3, stop - start, width), np.float32)
        decode(band, start, stop)
        rgb[start:stop] = np.moveaxis(band, 0, -1)

    parallel_for(work, height, band_lines(width), thread_limit(threads))
    return rgb


def planes_from_rgb(
    rgb: NDArray[np.float32],
    y: NDArray[Any],
    cb: NDArray[Any],
    cr: NDArray[Any],
    coding: Coding,
    *,
    threads: int | None = None,
) -> None:
    """Fill Y'CbCr planes from R G B signal values, rounded to nearest.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), float32; NaN counts as 0.
    y, cb, cr
        uint8 or uint16, C-contiguous, with lines at least as long as those of the picture.
    """

    def give(band: NDArray[np.float32], start: int, stop: int) -> None:
        band[...] = np.moveaxis(rgb[start:stop], -1, 0)

    _fill(give, (y, cb, cr), rgb.shape[:2], coding, threads)


Planes = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]
Band = Callable[[NDArray[np.float32], int, int], object]
"""Fills or changes lines `start` to `stop` of R G B, (3, lines, width)."""


def planes_through(
    source: Planes,
    target: Planes,
    width: int,
    codings: tuple[Coding, Coding],
    change: Callable[[NDArray[np.float32]], object],
    *,
    threads: int | None = None,
) -> None:
    """Convert planes into planes through R G B, a few lines at a time, which stay in the cache.

    `change` changes R G B in place, shape (3, lines, width). The result is the same as that of
    `rgb_from_planes`, `change` and `planes_from_rgb` on whole pictures.
    """
    decode = _Decoding(source, width, codings[0])

    def give(band: NDArray[np.float32], start: int, stop: int) -> None:
        decode(band, start, stop)
        change(band)

    _fill(give, target, (source[0].shape[0], width), codings[1], threads)


def band_lines(width: int) -> int:
    """The number of lines that are processed at a time."""
    return max(1, BAND_PIXELS // width)


class _Decoding:
    """Decodes lines of planes to R G B."""

    def __init__(self, planes: Planes, width: int, coding: Coding) -> None:
        self.planes = [np.ascontiguousarray(plane) for plane in planes]
        self.kernel = decoder(self.planes[0].dtype)
        self.numbers = _decoding_numbers(coding)
        self.weights = _up_weights(coding)
        self.chroma_width = coding.chroma_shape(1, width)[1]

    def __call__(self, band: NDArray[np.float32], start: int, stop: int) -> None:
        more = (self.chroma_width, self.numbers, *self.weights)
        self.kernel(*self.planes, band, *more, start, stop)


def _fill(
    give: Band, planes: Planes, size: tuple[int, int], coding: Coding, threads: int | None
) -> None:
    """Fill planes from lines of R G B, which `give` puts into a band."""
    from lutbench.long_work import parallel_for, thread_limit

    (height, width), (y, cb, cr) = size, planes
    lines, samples = coding.chroma_shape(height, width)
    numbers = np.array([*encoding_numbers(coding), *coding.code_limits], np.float32)
    down_across, down_down = _down_weights(coding)
    luma, chroma = encoders(y.dtype)
    limit, count = thread_limit(threads), band_lines(width)
    # Vertically subsampled chroma needs several lines, so it is kept until all lines are done.
    whole = np.empty((2, height, samples), np.float32) if coding.down > 1 else None
    spare: list[tuple[NDArray[np.float32], NDArray[np.float32]]] = []

    def work(start: int, stop: int) -> None:
        buffers = spare.pop() if spare else _buffers(count, width, samples)
        band = buffers[0].reshape(-1)[: 3 * (stop - start) * width].reshape(3, -1, width)
        give(band, start, stop)
        narrow, first = (buffers[1], start) if whole is None else (whole, 0)
        luma(band, y, narrow, first, coding.across, numbers, down_across, start, stop)
        if whole is None:
            chroma(narrow, first, cb, cr, 1, numbers, down_down, start, stop)
        spare.append(buffers)

    parallel_for(work, height, count, limit)
    if whole is not None:
        from_all = whole

        def rest(start: int, stop: int) -> None:
            chroma(from_all, 0, cb, cr, coding.down, numbers, down_down, start, stop)

        parallel_for(rest, lines, count, limit)


def _buffers(
    lines: int, width: int, samples: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Buffers of one thread for lines of R G B and of chroma."""
    return np.empty((3, lines, width), np.float32), np.empty((2, lines, samples), np.float32)


def _decoding_numbers(coding: Coding) -> NDArray[np.float32]:
    """Offset and factor of luma and of chroma, then the coefficients of the matrix."""
    red, blue = LUMA_WEIGHTS[coding.matrix]
    green = 1 - red - blue
    (black, luma), (middle, chroma) = coding.luma_scale, coding.chroma_scale
    r_cr, b_cb = 2 * (1 - red), 2 * (1 - blue)
    values = (black, 1 / luma, middle, 1 / chroma)
    matrix = (r_cr, b_cb, -b_cb * blue / green, -r_cr * red / green)
    return np.array([*values, *matrix], np.float32)


def encoding_numbers(coding: Coding) -> list[float]:
    """Weights of R, G, B in luma; offset and scale of luma; offset and scales of Cb and Cr."""
    red, blue = LUMA_WEIGHTS[coding.matrix]
    (black, luma), (middle, chroma) = coding.luma_scale, coding.chroma_scale
    to_cb, to_cr = chroma / (2 * (1 - blue)), chroma / (2 * (1 - red))
    return [red, 1 - red - blue, blue, black, luma, middle, to_cb, to_cr]


def _between(t: float) -> list[float]:
    """Catmull–Rom weights of four samples, `t` of the way from the second to the third."""
    return [
        (-t + 2 * t**2 - t**3) / 2,
        (2 - 5 * t**2 + 3 * t**3) / 2,
        (t + 4 * t**2 - 3 * t**3) / 2,
        (-(t**2) + t**3) / 2,
    ]


def _up(factor: int, on_sample: bool) -> NDArray[np.float32]:
    """Weights of the samples i-2..i+2 for the positions 2i and 2i+1, shape (2, 5)."""
    if factor == 1:
        return np.array([[0, 0, 1, 0, 0]] * 2, np.float32)
    if on_sample:
        return np.array([[0, 0, 1, 0, 0], [0, *_between(0.5)]], np.float32)
    return np.array([[*_between(0.75), 0], [0, *_between(0.25)]], np.float32)


def _down(factor: int, on_sample: bool) -> NDArray[np.float32]:
    """Weights of the positions 2i-3..2i+4 for sample i, shape (8,)."""
    if factor == 1:
        return np.array([0, 0, 0, 1, 0, 0, 0, 0], np.float32)
    if on_sample:
        return np.array([-1, 0, 9, 16, 9, 0, -1, 0], np.float32) / np.float32(32)
    return np.array([0, 0, -1, 9, 9, -1, 0, 0], np.float32) / np.float32(16)


def _up_weights(coding: Coding) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    return (
        _up(coding.across, coding.siting in ("left", "topleft")),
        _up(coding.down, coding.siting in ("topleft", "top")),
    )


def _down_weights(coding: Coding) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    return (
        _down(coding.across, coding.siting in ("left", "topleft")),
        _down(coding.down, coding.siting in ("topleft", "top")),
    )
