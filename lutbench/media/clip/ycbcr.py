"""Y'CbCr planes to R G B signal values and back, at full precision.

Matrix and quantisation after Recommendations ITU-R BT.601-7, BT.709-6 and
BT.2020-2 (non-constant luminance); full range after Recommendation ITU-T H.273
(Cb and Cr about 2^(n-1), scaled by 2^n - 1).

Chroma between the samples is found by cubic interpolation (Catmull–Rom), and
taken back by filters that keep the band it can hold: (-1 9 9 -1)/16 between two
samples, (-1 0 9 16 9 0 -1)/32 on a sample. At an edge the last sample is repeated.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
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

_ROWS = 32  # lines that a thread takes at a time


@dataclass(frozen=True)
class Coding:
    """How R G B became code values.

    Parameters
    ----------
    matrix
        ``"BT.601"``, ``"BT.709"`` or ``"BT.2020"``.
    range
        ``"legal"`` or ``"full"``.
    bits
        Of a code value: 8 to 16.
    across, down
        How many luma samples share a chroma sample: 1 or 2.
    siting
        Where chroma sits, for a direction with two samples: ``"left"`` (on the
        first of two columns, between two lines), ``"center"`` (between both),
        ``"topleft"`` (on both) or ``"top"`` (between two columns, on the first line).
    """

    matrix: Matrix
    range: Range
    bits: int
    across: int = 1
    down: int = 1
    siting: Siting = "left"

    def __post_init__(self) -> None:
        if self.matrix not in LUMA_WEIGHTS:
            raise LutbenchError(
                f"no Y'CbCr matrix is named {self.matrix!r}", accepted=", ".join(LUMA_WEIGHTS)
            )

    @property
    def luma_scale(self) -> tuple[float, float]:
        """The code of black, and codes for 1.0."""
        unit = 2.0 ** (self.bits - 8)
        return (16 * unit, 219 * unit) if self.range == "legal" else (0.0, 2.0**self.bits - 1)

    @property
    def chroma_scale(self) -> tuple[float, float]:
        """The code of no colour, and codes for 1.0."""
        middle = 2.0 ** (self.bits - 1)
        unit = 2.0 ** (self.bits - 8)
        return middle, 224 * unit if self.range == "legal" else 2.0**self.bits - 1

    @property
    def code_limits(self) -> tuple[float, float]:
        """Lowest and highest code: legal range keeps off the codes kept for timing."""
        unit = 2.0 ** (self.bits - 8)
        if self.range == "legal":
            return unit, 255 * unit - 1
        return 0.0, 2.0**self.bits - 1

    def chroma_shape(self, height: int, width: int) -> tuple[int, int]:
        """Lines and samples a line of a chroma plane."""
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
    """R G B signal values of Y'CbCr planes; what lies outside 0..1 is kept.

    Parameters
    ----------
    y, cb, cr
        uint8 or uint16, each (lines, samples or more): what stands beyond the
        width of the picture is left alone, as in a decoder's buffers.
    width
        Of the picture in luma samples.

    Returns
    -------
    ndarray
        Shape (height, width, 3), float32.
    """
    from lutbench.tables.threads import share, thread_limit

    height = y.shape[0]
    y, cb, cr = (_whole_lines(plane) for plane in (y, cb, cr))
    rgb = np.empty((height, width, 3), np.float32)
    kernel = _decoder(y.dtype)
    numbers = _decoding_numbers(coding)
    up_across, up_down = _up_weights(coding)
    chroma_width = coding.chroma_shape(height, width)[1]

    def work(start: int, stop: int) -> None:
        kernel(y, cb, cr, rgb, chroma_width, numbers, up_across, up_down, start, stop)

    share(work, height, _ROWS, thread_limit(threads))
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
        uint8 or uint16, C-contiguous, lines at least as long as the picture's.
    """
    from lutbench.tables.threads import share, thread_limit

    height, width = rgb.shape[:2]
    rgb = np.ascontiguousarray(rgb, dtype=np.float32)
    lines, samples = coding.chroma_shape(height, width)
    low, high = coding.code_limits
    numbers = np.array([*encoding_numbers(coding), low, high], np.float32)
    down_across, down_down = _down_weights(coding)
    narrow = np.empty((2, height, samples), np.float32)
    first, second = _encoders(y.dtype)
    limit = thread_limit(threads)

    def luma(start: int, stop: int) -> None:
        first(rgb, y, narrow, coding.across, numbers, down_across, start, stop)

    def chroma(start: int, stop: int) -> None:
        second(narrow, cb, cr, coding.down, numbers, down_down, start, stop)

    share(luma, height, _ROWS, limit)
    share(chroma, lines, _ROWS, limit)


def _whole_lines(plane: NDArray[Any]) -> NDArray[Any]:
    return plane if plane.flags.c_contiguous else np.ascontiguousarray(plane)


def _decoding_numbers(coding: Coding) -> NDArray[np.float32]:
    """Offset and factor of luma and chroma, then the matrix."""
    red, blue = LUMA_WEIGHTS[coding.matrix]
    green = 1 - red - blue
    (black, luma), (middle, chroma) = coding.luma_scale, coding.chroma_scale
    r_cr, b_cb = 2 * (1 - red), 2 * (1 - blue)
    values = (black, 1 / luma, middle, 1 / chroma)
    matrix = (r_cr, b_cb, -b_cb * blue / green, -r_cr * red / green)
    return np.array([*values, *matrix], np.float32)


def encoding_numbers(coding: Coding) -> list[float]:
    """The weights of R, G, B in luma; black, and codes of luma; no colour, and codes of Cb, Cr."""
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
    """Weights of the samples i-2..i+2 for the places 2i and 2i+1, shape (2, 5)."""
    if factor == 1:
        return np.array([[0, 0, 1, 0, 0]] * 2, np.float32)
    if on_sample:
        return np.array([[0, 0, 1, 0, 0], [0, *_between(0.5)]], np.float32)
    return np.array([[*_between(0.75), 0], [0, *_between(0.25)]], np.float32)


def _down(factor: int, on_sample: bool) -> NDArray[np.float32]:
    """Weights of the places 2i-3..2i+4 for sample i, shape (8,)."""
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


# --- the loops, compiled by numba when pixels move ----------------------------------------------


def _decode_lines(y, cb, cr, rgb, chroma_width, numbers, up_across, up_down, start, stop):  # type: ignore[no-untyped-def]
    """Lines `start` to `stop` of the planes into R G B."""
    width = rgb.shape[1]
    chroma_height = cb.shape[0]
    across = 2 if chroma_width != width else 1
    down = 2 if chroma_height != y.shape[0] else 1
    padded = np.empty((2, chroma_width + 4), np.float32)
    wide = np.empty((2, 2 * chroma_width), np.float32)
    black, luma, middle, chroma = numbers[0], numbers[1], numbers[2], numbers[3]
    r_cr, b_cb, g_cb, g_cr = numbers[4], numbers[5], numbers[6], numbers[7]
    for line in range(start, stop):
        for plane in range(2):
            source = cb if plane == 0 else cr
            into = padded[plane]
            if down == 1:
                for i in range(chroma_width):
                    into[i + 2] = (np.float32(source[line, i]) - middle) * chroma
            else:
                middle_line, part = line // 2, line % 2
                w = up_down[part]
                l0 = max(middle_line - 2, 0)
                l1 = max(middle_line - 1, 0)
                l3 = min(middle_line + 1, chroma_height - 1)
                l4 = min(middle_line + 2, chroma_height - 1)
                w0, w1, w2, w3, w4 = w[0], w[1], w[2], w[3], w[4]
                for i in range(chroma_width):
                    value = (
                        w0 * np.float32(source[l0, i])
                        + w1 * np.float32(source[l1, i])
                        + w2 * np.float32(source[middle_line, i])
                        + w3 * np.float32(source[l3, i])
                        + w4 * np.float32(source[l4, i])
                    )
                    into[i + 2] = (value - middle) * chroma
            into[0] = into[1] = into[2]
            into[chroma_width + 2] = into[chroma_width + 3] = into[chroma_width + 1]
            out = wide[plane]
            if across == 1:
                for i in range(chroma_width):
                    out[i] = into[i + 2]
            else:
                for part in range(2):
                    w = up_across[part]
                    w0, w1, w2, w3, w4 = w[0], w[1], w[2], w[3], w[4]
                    for i in range(chroma_width):
                        out[2 * i + part] = (
                            w0 * into[i]
                            + w1 * into[i + 1]
                            + w2 * into[i + 2]
                            + w3 * into[i + 3]
                            + w4 * into[i + 4]
                        )
        for x in range(width):
            light = (np.float32(y[line, x]) - black) * luma
            u = wide[0, x]
            v = wide[1, x]
            rgb[line, x, 0] = light + r_cr * v
            rgb[line, x, 1] = light + g_cb * u + g_cr * v
            rgb[line, x, 2] = light + b_cb * u


def _encode_luma(rgb, y, narrow, across, numbers, weights, start, stop):  # type: ignore[no-untyped-def]
    """Lines `start` to `stop`: luma codes, and chroma codes (not rounded) at their width."""
    width = rgb.shape[1]
    samples = narrow.shape[2]
    red, green, blue, black, luma = numbers[0], numbers[1], numbers[2], numbers[3], numbers[4]
    middle, to_cb, to_cr, low, high = numbers[5], numbers[6], numbers[7], numbers[8], numbers[9]
    half, nought = np.float32(0.5), np.float32(0)
    wide = np.empty((2, width + 9), np.float32)
    for line in range(start, stop):
        for x in range(width):
            r, g, b = rgb[line, x, 0], rgb[line, x, 1], rgb[line, x, 2]
            r = r if r == r else nought
            g = g if g == g else nought
            b = b if b == b else nought
            light = red * r + green * g + blue * b
            wide[0, x + 3] = (b - light) * to_cb
            wide[1, x + 3] = (r - light) * to_cr
            code = black + light * luma + half
            code = code if code > low else low
            code = code if code < high + half else high
            y[line, x] = int(code)
        for plane in range(2):
            row = wide[plane]
            if across == 1:
                for i in range(samples):
                    narrow[plane, line, i] = row[i + 3] + middle
                continue
            for i in range(3):
                row[i] = row[3]
            for i in range(width + 3, width + 9):
                row[i] = row[width + 2]
            w0, w1, w2, w3 = weights[0], weights[1], weights[2], weights[3]
            w4, w5, w6, w7 = weights[4], weights[5], weights[6], weights[7]
            for i in range(samples):
                narrow[plane, line, i] = (
                    w0 * row[2 * i]
                    + w1 * row[2 * i + 1]
                    + w2 * row[2 * i + 2]
                    + w3 * row[2 * i + 3]
                    + w4 * row[2 * i + 4]
                    + w5 * row[2 * i + 5]
                    + w6 * row[2 * i + 6]
                    + w7 * row[2 * i + 7]
                    + middle
                )


def _encode_chroma(narrow, cb, cr, down, numbers, weights, start, stop):  # type: ignore[no-untyped-def]
    """Chroma lines `start` to `stop`, rounded to codes."""
    height, samples = narrow.shape[1], narrow.shape[2]
    low, high, half = numbers[8], numbers[9], np.float32(0.5)
    row = np.empty(samples, np.float32)
    for line in range(start, stop):
        for plane in range(2):
            out = cb if plane == 0 else cr
            if down == 1:
                for i in range(samples):
                    row[i] = narrow[plane, line, i]
            else:
                row[:] = 0
                for tap in range(8):
                    w = weights[tap]
                    if w != 0:
                        at = min(max(2 * line - 3 + tap, 0), height - 1)
                        for i in range(samples):
                            row[i] += w * narrow[plane, at, i]
            for i in range(samples):
                code = row[i] + half
                code = code if code > low else low
                code = code if code < high + half else high
                out[line, i] = int(code)


def compiled(function: Any, *signature: Any) -> Any:
    """A loop over pixels as machine code, kept for the next time where a folder can be written."""
    from numba import njit, types

    try:
        return njit(types.void(*signature), nogil=True, cache=True)(function)
    except RuntimeError:  # no folder for the compiled code can be written
        return njit(types.void(*signature), nogil=True)(function)


@cache
def _decoder(code: Any) -> Any:
    from numba import types

    plane = types.Array(getattr(types, np.dtype(code).name), 2, "C", readonly=True)
    numbers = types.Array(types.float32, 1, "C")
    weights = types.Array(types.float32, 2, "C")
    rgb = types.Array(types.float32, 3, "C")
    ends = (types.int64, types.int64)
    return compiled(
        _decode_lines, plane, plane, plane, rgb, types.int64, numbers, weights, weights, *ends
    )


@cache
def _encoders(code: Any) -> tuple[Any, Any]:
    from numba import types

    plane = types.Array(getattr(types, np.dtype(code).name), 2, "C")
    cube = types.Array(types.float32, 3, "C")
    picture = types.Array(types.float32, 3, "C", readonly=True)
    row = types.Array(types.float32, 1, "C")
    ends = (types.int64, types.int64)
    return (
        compiled(_encode_luma, picture, plane, cube, types.int64, row, row, *ends),
        compiled(_encode_chroma, cube, plane, plane, types.int64, row, row, *ends),
    )
