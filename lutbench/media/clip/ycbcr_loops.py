"""Loops between Y'CbCr planes and R G B, compiled by numba on first use.

R G B is planar and a few lines at a time, so that it stays in the cache and each inner loop
runs along a line, which LLVM vectorises.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from lutbench.tables import kept_code


def _decode_lines(y, cb, cr, rgb, chroma_width, numbers, up_across, up_down, start, stop):  # type: ignore[no-untyped-def]
    """Decode lines `start` to `stop` of the planes into R G B, (3, lines, width)."""
    width = rgb.shape[2]
    chroma_height = cb.shape[0]
    across = 2 if chroma_width != width else 1
    down = 2 if chroma_height != y.shape[0] else 1
    padded = np.empty((2, chroma_width + 4), np.float32)
    wide = np.empty((2, 2 * chroma_width), np.float32)
    black, luma, middle, chroma = numbers[0], numbers[1], numbers[2], numbers[3]
    r_cr, b_cb, g_cb, g_cr = numbers[4], numbers[5], numbers[6], numbers[7]
    at_first, at_next = up_across[0], up_across[1]
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
                # Both positions of a sample in one loop: stores side by side are vectorised.
                a0, a1, a2, a3, a4 = at_first[0], at_first[1], at_first[2], at_first[3], at_first[4]
                b0, b1, b2, b3, b4 = at_next[0], at_next[1], at_next[2], at_next[3], at_next[4]
                for i in range(chroma_width):
                    s0, s1, s2, s3, s4 = into[i], into[i + 1], into[i + 2], into[i + 3], into[i + 4]
                    out[2 * i] = a0 * s0 + a1 * s1 + a2 * s2 + a3 * s3 + a4 * s4
                    out[2 * i + 1] = b0 * s0 + b1 * s1 + b2 * s2 + b3 * s3 + b4 * s4
        for x in range(width):
            light = (np.float32(y[line, x]) - black) * luma
            u = wide[0, x]
            v = wide[1, x]
            rgb[0, line - start, x] = light + r_cr * v
            rgb[1, line - start, x] = light + g_cb * u + g_cr * v
            rgb[2, line - start, x] = light + b_cb * u


def _encode_luma(rgb, y, narrow, first, across, numbers, weights, start, stop):  # type: ignore[no-untyped-def]
    """Encode luma of lines `start` to `stop`, and chroma, not rounded, at its own width.

    `rgb` has these lines, shape (3, lines, width); `narrow` has chroma lines from `first`.
    """
    width = rgb.shape[2]
    samples = narrow.shape[2]
    red, green, blue, black, luma = numbers[0], numbers[1], numbers[2], numbers[3], numbers[4]
    middle, to_cb, to_cr, low, high = numbers[5], numbers[6], numbers[7], numbers[8], numbers[9]
    half, nought = np.float32(0.5), np.float32(0)
    wide = np.empty((2, width + 9), np.float32)
    for line in range(start, stop):
        for x in range(width):
            r, g, b = rgb[0, line - start, x], rgb[1, line - start, x], rgb[2, line - start, x]
            r = r if r == r else nought
            g = g if g == g else nought
            b = b if b == b else nought
            light = red * r + green * g + blue * b
            wide[0, x + 3] = (b - light) * to_cb
            wide[1, x + 3] = (r - light) * to_cr
            code = black + light * luma + half
            code = code if code > low else low
            code = code if code < high + half else high
            y[line, x] = np.int32(code)
        for plane in range(2):
            row = wide[plane]
            if across == 1:
                for i in range(samples):
                    narrow[plane, line - first, i] = row[i + 3] + middle
                continue
            for i in range(3):
                row[i] = row[3]
            for i in range(width + 3, width + 9):
                row[i] = row[width + 2]
            w0, w1, w2, w3 = weights[0], weights[1], weights[2], weights[3]
            w4, w5, w6, w7 = weights[4], weights[5], weights[6], weights[7]
            for i in range(samples):
                narrow[plane, line - first, i] = (
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


def _encode_chroma(narrow, first, cb, cr, down, numbers, weights, start, stop):  # type: ignore[no-untyped-def]
    """Round chroma lines `start` to `stop` to codes; `narrow` begins at the line `first`."""
    height, samples = narrow.shape[1], narrow.shape[2]
    low, high, half = numbers[8], numbers[9], np.float32(0.5)
    row = np.empty(samples, np.float32)
    for line in range(start, stop):
        for plane in range(2):
            out = cb if plane == 0 else cr
            if down == 1:
                for i in range(samples):
                    row[i] = narrow[plane, line - first, i]
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
                out[line, i] = np.int32(code)


def compiled(function: Any, *signature: Any) -> Any:
    """A loop over pixels as machine code, cached on disk where a folder can be written."""
    from numba import types

    return kept_code.compiled(function, types.void(*signature), nogil=True)


@cache
def decoder(code: Any) -> Any:
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
def encoders(code: Any) -> tuple[Any, Any]:
    from numba import types

    plane = types.Array(getattr(types, np.dtype(code).name), 2, "C")
    cube = types.Array(types.float32, 3, "C")
    picture = types.Array(types.float32, 3, "C", readonly=True)
    row = types.Array(types.float32, 1, "C")
    ends = (types.int64, types.int64)
    return (
        compiled(_encode_luma, picture, plane, cube, *ends, row, row, *ends),
        compiled(_encode_chroma, cube, types.int64, plane, plane, types.int64, row, row, *ends),
    )
