"""The steps of a program, each over one block of pixels in three planes.

See `kernels.py`, which strings them together.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from lutbench.tables.kernels_llvm import (
    BLOCK_PIXELS,
    is_single,
    pairs_4,
    prefetch_to_read,
    prefetch_to_write,
    scaled,
    split,
    truncated,
)
from lutbench.tables.programs import CODES, EXACT

# A piece is only called by other compiled code. With numpy's error model a
# division by zero is no branch, so that loops with divisions are vectorised.
OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True}
piece = njit(no_cpython_wrapper=True, **OPTIONS)
# What only hands on to other pieces is put into its caller before compilation, or
# LLVM would work on all that it calls once more.
passage = njit(inline="always", no_cpython_wrapper=True, **OPTIONS)
inner = njit(no_cpython_wrapper=True, forceinline=True, **OPTIONS)  # the inside of a loop


@passage
def prefetch(ahead, j):
    """Prefetch 16 pixels to come, so that memory works while a table is read.

    A block's pixels are prefetched bit by bit: all at once is more than the
    processor keeps in flight, and it would wait.
    """
    reads, read_step, read_spread, writes, write_step, write_spread = ahead
    reads, writes = reads + j * read_step, writes + j * write_step
    prefetch_to_read(reads)
    prefetch_to_read(reads + read_spread)
    prefetch_to_read(reads + 2 * read_spread)
    prefetch_to_write(writes)
    prefetch_to_write(writes + write_spread)
    prefetch_to_write(writes + 2 * write_spread)


# -- Steps without a table ----------------------------------------------------


@piece
def matrix(planes, params):
    """``m·rgb + offset``: nine numbers row by row, then three."""
    number = planes.dtype.type
    m00, m01, m02 = number(params[0]), number(params[1]), number(params[2])
    m10, m11, m12 = number(params[3]), number(params[4]), number(params[5])
    m20, m21, m22 = number(params[6]), number(params[7]), number(params[8])
    o0, o1, o2 = number(params[9]), number(params[10]), number(params[11])
    for i in range(BLOCK_PIXELS):
        r, g, b = planes[0, i], planes[1, i], planes[2, i]
        planes[0, i] = ((m00 * r + m01 * g) + m02 * b) + o0
        planes[1, i] = ((m10 * r + m11 * g) + m12 * b) + o1
        planes[2, i] = ((m20 * r + m21 * g) + m22 * b) + o2


@piece
def clamp(planes, params):
    """Values held between two limits; NaN stays NaN."""
    number = planes.dtype.type
    low, high = number(params[0]), number(params[1])
    for c in range(3):
        for i in range(BLOCK_PIXELS):
            x = planes[c, i]
            x = low if x < low else x
            planes[c, i] = high if x > high else x


@inner
def _log2_series(q):
    """``atanh(√q) / √q`` for q up to 0.03, to 2**-54."""
    series = 1.0 / 21.0
    series = series * q + 1.0 / 19.0
    series = series * q + 1.0 / 17.0
    series = series * q + 1.0 / 15.0
    series = series * q + 1.0 / 13.0
    series = series * q + 1.0 / 11.0
    series = series * q + 1.0 / 9.0
    series = series * q + 1.0 / 7.0
    series = series * q + 1.0 / 5.0
    series = series * q + 1.0 / 3.0
    return series * q + 1.0


@inner
def _log2_series_single(q):
    """The same in float32, to 2**-26; in pairs, which do not wait for each other."""
    square = q * q
    low = np.float32(1) + q * np.float32(1 / 3)
    high = np.float32(1 / 5) + q * np.float32(1 / 7)
    return low + square * (high + square * np.float32(1 / 9))


@inner
def _exp_series(t):
    """exp of t from −0.35 to 0.35, to 2**-53."""
    series = 1.0 / 6227020800.0
    series = series * t + 1.0 / 479001600.0
    series = series * t + 1.0 / 39916800.0
    series = series * t + 1.0 / 3628800.0
    series = series * t + 1.0 / 362880.0
    series = series * t + 1.0 / 40320.0
    series = series * t + 1.0 / 5040.0
    series = series * t + 1.0 / 720.0
    series = series * t + 1.0 / 120.0
    series = series * t + 1.0 / 24.0
    series = series * t + 1.0 / 6.0
    series = series * t + 0.5
    series = series * t + 1.0
    return series * t + 1.0


@inner
def _exp_series_single(t):
    """The same in float32, to 2**-26."""
    square = t * t
    low = (np.float32(1) + t) + square * (np.float32(0.5) + t * np.float32(1 / 6))
    middle = np.float32(1 / 24) + t * np.float32(1 / 120)
    high = np.float32(1 / 720) + t * np.float32(1 / 5040)
    return low + (square * square) * (middle + square * high)


@piece
def power(planes, params):
    """Each channel to its power where it is over 0; unchanged below, and for NaN.

    By log2 (the exponent, and the series of atanh about 1) and exp2 (the whole
    part as an exponent, the rest by the series of exp). The system's own pow is
    not used: it gives other bits on other systems, and one number at a time.
    Numbers under the least normal one are taken as 0.
    """
    number = planes.dtype.type
    single = is_single(number(0))
    least = number(1.1754943508222875e-38 if single else 2.2250738585072014e-308)
    lowest = number(-126.0 if single else -1022.0)
    highest = number(127.99999 if single else 1023.9999999999999)
    zero, half, one, infinity = number(0), number(0.5), number(1), number(np.inf)
    log2_e_twice, log_2 = number(2.8853900817779268), number(0.6931471805599453)
    for c in range(3):
        power = number(params[c])
        if power == one:
            continue
        for i in range(BLOCK_PIXELS):
            x = planes[c, i]
            exponent, mantissa = split(x if x >= least else one)
            z = (mantissa - one) / (mantissa + one)
            series = _log2_series_single(z * z) if single else _log2_series(z * z)
            y = power * (exponent + (log2_e_twice * z) * number(series))
            y = y if y > lowest else lowest
            y = y if y < highest else highest
            whole = truncated(y + (half if y > zero else -half))
            t = (y - whole) * log_2
            raised = scaled(number(_exp_series_single(t) if single else _exp_series(t)), whole)
            raised = raised if x >= least else zero
            raised = raised if x < infinity else infinity
            planes[c, i] = raised if x > zero else x


# -- Steps with a table -------------------------------------------------------


@piece
def place(planes, size, params, how, cells, parts):
    """Cell and fraction of each value on its axis; those of NaN mean nothing."""
    number = planes.dtype.type
    for c in range(3):
        if how == EXACT:
            rate, zero = number(params[3 + c]), number(0)
            last, top = number(size - 1), number(size - 2)
            for i in range(BLOCK_PIXELS):
                place = planes[c, i] * rate
                place = place if place > zero else zero
                place = place if place < last else last
                cell = truncated(place)
                cell = cell if cell < top else top
                cells[c, i] = cell
                parts[c, i] = place - cell
        elif how == CODES:
            # A whole code of 0..peak: only the last product is rounded. With at
            # most 65 nodes and 16 bits every product is under 2**24, so float32
            # holds it, and the rounding of the quotient is less than the
            # distance of the nearest code from the cell's edge.
            peak, share = number(params[6]), number(1 / params[6])
            last, top = number(size - 1), number(size - 2)
            zero, most = number(0), last * peak
            for i in range(BLOCK_PIXELS):
                place = planes[c, i] * last
                place = place if place > zero else zero
                place = place if place < most else most
                cell = truncated(place * share)
                cell = cell if cell < top else top
                cells[c, i] = cell
                parts[c, i] = (place - cell * peak) * share
        else:
            low, steps = params[c], params[3 + c]
            edge, under = float(size - 1), float(size - 2)
            for i in range(BLOCK_PIXELS):
                found = (np.float64(planes[c, i]) - low) * steps
                found = found if found > 0.0 else 0.0
                found = found if found < edge else edge
                whole = truncated(found)
                whole = whole if whole < under else under
                cells[c, i] = number(whole)
                parts[c, i] = number(found - whole)


@piece
def curve(planes, pool, op, params, work, ahead):
    """A 1D table a channel: linear between its rows, NaN stays NaN."""
    cells, parts, corners, weights = work
    begin, size, how = op[1], op[2], op[3]
    one = pool.dtype.type(1)
    place(planes, size, params, how, cells, parts)
    for c in range(3):
        for i in range(BLOCK_PIXELS):
            corners[c, i] = cells[c, i]
        rows = pool[begin + c * size :]
        for j in range(0, BLOCK_PIXELS, 16):
            if c == 0:
                prefetch(ahead, j)
            for i in range(j, j + 16, 4):
                at = (corners[c, i], corners[c, i + 1], corners[c, i + 2], corners[c, i + 3])
                pairs_4(rows, at, weights, i)
        for i in range(BLOCK_PIXELS):
            x, part = planes[c, i], parts[c, i]
            y = (one - part) * weights[0, i] + part * weights[1, i]
            planes[c, i] = y if x == x else x


@piece
def tetrahedra(planes, size, cells, parts, corners, weights):
    """Three node indices and four weights of each pixel; the first weight is NaN for NaN.

    A cell is cut into six tetrahedra along its grey diagonal. The path from the
    cell's first node to its last goes along the axis of the largest fraction
    first and of the smallest last; the weights are the differences of the
    sorted fractions. The fourth node is the cell's last.
    """
    number = planes.dtype.type
    one, nan = number(1), number(np.nan)
    b_step, g_step, r_step = number(4), number(4 * size), number(4 * size * size)
    across = r_step + g_step + b_step
    for i in range(BLOCK_PIXELS):
        x, y, z = planes[0, i], planes[1, i], planes[2, i]
        r, g, b = parts[0, i], parts[1, i], parts[2, i]
        r_over_g, r_over_b, g_over_b = r >= g, r >= b, g >= b
        upper = r if r_over_g else g
        lower = g if r_over_g else r
        largest = upper if upper > b else b
        middle = upper if upper < b else b
        middle = middle if middle > lower else lower
        smallest = lower if lower < b else b
        first = r_step if r_over_g & r_over_b else (g_step if g_over_b else b_step)
        final = b_step if r_over_b & g_over_b else (g_step if r_over_g else r_step)
        base = cells[0, i] * r_step + cells[1, i] * g_step + cells[2, i] * b_step
        corners[0, i] = base
        corners[1, i] = base + first
        corners[2, i] = base + (across - final)
        weights[0, i] = nan if (x != x) | (y != y) | (z != z) else one - largest
        weights[1, i] = largest - middle
        weights[2, i] = middle - smallest
        weights[3, i] = smallest


@piece
def cubes(planes, size, cells, parts, corners, weights):
    """The first node's index, four weights over red and green, and two over blue."""
    number = planes.dtype.type
    one, nan = number(1), number(np.nan)
    b_step, g_step, r_step = number(4), number(4 * size), number(4 * size * size)
    for i in range(BLOCK_PIXELS):
        x, y, z = planes[0, i], planes[1, i], planes[2, i]
        r, g, b = parts[0, i], parts[1, i], parts[2, i]
        corners[0, i] = cells[0, i] * r_step + cells[1, i] * g_step + cells[2, i] * b_step
        r_off, g_off = one - r, one - g
        weights[0, i] = nan if (x != x) | (y != y) | (z != z) else r_off * g_off
        weights[1, i], weights[2, i], weights[3, i] = r_off * g, r * g_off, r * g
        weights[4, i], weights[5, i] = one - b, b
