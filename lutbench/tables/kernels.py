"""The compiled pixel kernels. Importing this module imports numba.

One kernel runs a *program* (see `programs.py`) over a range of pixels, a block
of pixels at a time: the block is loaded into planes that stay in the first
cache, each step works on the planes, and the result is stored, so a chain of
steps reads and writes every pixel once.

What can be done for many pixels at once is written as a plain loop over a
block of constant length, which LLVM turns into vector code. The lattice itself
is read a whole node (four numbers) at a time, which is several times faster
than gathering the numbers one by one.

Only +, −, ×, comparisons and truncations are used, each rounded on its own (no
fused multiply-add), so the result does not depend on the machine, the block a
pixel falls in, or the number of threads; `plain.py` gives the same bits in numpy.

Whole numbers are held as floats where they can be: numba widens every sum of
32-bit integers to 64 bits, which halves what a vector instruction does. All
indices stay under 2**24 nodes, so float32 holds them exactly.
"""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic
from numpy.typing import DTypeLike

from lutbench.tables.programs import CLAMP, CODES, CURVE, EXACT, MATRIX, POWER, TETRAHEDRAL

BLOCK = 256  # pixels; the working planes of one block fit the first cache

# A piece is only called by other compiled code. With numpy's error model a
# division by zero is no branch, so that loops with divisions are vectorised.
_options: dict[str, Any] = {"nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True}
_piece = njit(no_cpython_wrapper=True, **_options)
# What only hands on to other pieces is put into its caller before compilation, or
# LLVM would work on all that it calls once more.
_passage = njit(inline="always", no_cpython_wrapper=True, **_options)
_inner = njit(no_cpython_wrapper=True, forceinline=True, **_options)  # the inside of a loop

_I32 = ir.IntType(32)
_I64 = ir.IntType(64)


# -- Pieces that Python cannot say: pointers, whole nodes, stores past the cache --


def _address(context: Any, builder: Any, array_type: Any, array: Any, index: Any) -> Any:
    data = context.make_array(array_type)(context, builder, array).data
    if index.type.width < 64:
        index = builder.sext(index, _I64)
    return builder.gep(data, [index])


def _at(context: Any, builder: Any, dtype: Any, address: Any, index: Any) -> Any:
    """The place of element `index` of an array of `dtype` at a bare address."""
    pointer = builder.inttoptr(address, context.get_value_type(dtype).as_pointer())
    return builder.gep(pointer, [index])


def _vector_at(builder: Any, pointer: Any, lanes: int) -> Any:
    """`pointer` to an element as one to a vector that begins with it."""
    element = pointer.type.pointee
    return builder.bitcast(pointer, ir.VectorType(element, lanes).as_pointer())


def _bytes(dtype: Any) -> int:
    return int(dtype.bitwidth) // 8


def _shuffled(builder: Any, one: Any, other: Any, picks: list[int]) -> Any:
    mask = ir.Constant(ir.VectorType(_I32, len(picks)), picks)
    return builder.shuffle_vector(one, other, mask)


def _splat(builder: Any, value: Any, lanes: int) -> Any:
    nothing = ir.Constant(ir.VectorType(value.type, lanes), ir.Undefined)
    one = builder.insert_element(nothing, value, ir.Constant(_I32, 0))
    return _shuffled(builder, one, nothing, [0] * lanes)


def _getter(dtype: Any) -> Any:
    """The intrinsic that reads element `index` of an array of `dtype` at an address."""

    @intrinsic
    def get(typing: Any, address: Any, index: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            return builder.load(_at(context, builder, dtype, *args))

        return dtype(types.int64, types.int64), code

    return get


def _putter(dtype: Any) -> Any:
    """The intrinsic that writes a float as element `index` of an array of `dtype`.

    An array of codes gets the nearest code of 0..`peak` to ``value × peak``
    (halves up), NaN as 0.
    """

    @intrinsic
    def put(typing: Any, address: Any, index: Any, value: Any, peak: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            where = _at(context, builder, dtype, args[0], args[1])
            value, peak = args[2], args[3]
            if isinstance(dtype, types.Integer):
                zero = ir.Constant(value.type, 0.0)
                value = builder.fmul(value, peak)
                value = builder.select(builder.fcmp_ordered(">", value, zero), value, zero)
                value = builder.select(builder.fcmp_ordered("<", value, peak), value, peak)
                value = builder.fadd(value, ir.Constant(value.type, 0.5))
                value = builder.fptosi(value, _I32)
                value = builder.trunc(value, ir.IntType(dtype.bitwidth))
            else:
                value = context.cast(builder, value, signature.args[2], dtype)
            builder.store(value, where)
            return context.get_dummy_value()

        return types.void(types.int64, types.int64, value, value), code

    return put


@intrinsic
def _whole(typing: Any, value: Any) -> Any:
    """The whole part of a float of modest size, as a float of the same type."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.sitofp(builder.fptosi(args[0], _I32), args[0].type)

    return value(value), code


@intrinsic
def _pairs_4(typing: Any, rows: Any, at: Any, planes: Any, i: Any) -> Any:
    """The numbers at four places and their successors, into planes 0 and 1 from i."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        align = _bytes(rows.dtype)
        pairs = []
        for k in range(4):
            index = builder.extract_value(args[1], k)
            where = _address(context, builder, rows, args[0], index)
            pairs.append(builder.load(_vector_at(builder, where, 2), align=align))
        left, right = (_shuffled(builder, pairs[k], pairs[k + 1], [0, 1, 2, 3]) for k in (0, 2))
        for plane, picks in enumerate(([0, 2, 4, 6], [1, 3, 5, 7])):
            place = builder.add(args[3], ir.Constant(_I64, plane * BLOCK))
            where = _vector_at(builder, _address(context, builder, planes, args[2], place), 4)
            builder.store(_shuffled(builder, left, right, picks), where, align=align)
        return context.get_dummy_value()

    return types.void(rows, at, planes, types.int64), code


@intrinsic
def _move_64(typing: Any, src: Any, index: Any, address: Any) -> Any:
    """Copy 64 bytes of an array, from element `index`, to an address, as four vectors.

    Not written as a plain loop, in which LLVM would see a call of the system's
    memcpy: that starts too slowly for pieces of a few kilobytes.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        item = _bytes(src.dtype)
        lanes = 16 // item
        source = _address(context, builder, src, args[0], args[1])
        for k in range(4):
            index = ir.Constant(_I64, k * lanes)
            here = _vector_at(builder, builder.gep(source, [index]), lanes)
            there = _vector_at(builder, _at(context, builder, src.dtype, args[2], index), lanes)
            builder.store(builder.load(here, align=item), there, align=item)
        return context.get_dummy_value()

    return types.void(src, types.int64, types.int64), code


def _asker(writes: bool) -> Any:
    """The intrinsic that asks for an address to come into the cache, to be read or written."""

    @intrinsic
    def ask(typing: Any, address: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            byte = ir.IntType(8).as_pointer()
            kind = ir.FunctionType(ir.VoidType(), [byte, _I32, _I32, _I32])
            prefetch = builder.module.declare_intrinsic("llvm.prefetch", [byte], kind)
            hints = [ir.Constant(_I32, k) for k in (int(writes), 3, 1)]
            builder.call(prefetch, [builder.inttoptr(args[0], byte), *hints])
            return context.get_dummy_value()

        return types.void(types.int64), code

    return ask


_ask_to_read = _asker(writes=False)
_ask_to_write = _asker(writes=True)


@intrinsic
def _is_single(typing: Any, value: Any) -> Any:
    """Whether a value is a float32: a constant, so that only one branch on it is compiled."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return ir.Constant(ir.IntType(1), int(value == types.float32))

    return types.boolean(value), code


@intrinsic
def _split(typing: Any, value: Any) -> Any:
    """Exponent and mantissa (about 1, from √½ to √2) of a normal float over 0."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        whole, mantissa_bits, bias, half_root = _layout(value)
        above = builder.sub(builder.bitcast(args[0], whole), half_root)
        # The sign is shifted out last: vectors of 64 bits know no shift that keeps it.
        biased = builder.lshr(builder.add(above, builder.shl(bias, mantissa_bits)), mantissa_bits)
        mask = builder.sub(builder.shl(ir.Constant(whole, 1), mantissa_bits), ir.Constant(whole, 1))
        mantissa = builder.bitcast(builder.add(builder.and_(above, mask), half_root), args[0].type)
        exponent = builder.sub(biased, bias)
        exponent = exponent if whole is _I32 else builder.trunc(exponent, _I32)
        return context.make_tuple(
            builder, signature.return_type, [builder.sitofp(exponent, args[0].type), mantissa]
        )

    return types.UniTuple(value, 2)(value), code


@intrinsic
def _scaled(typing: Any, value: Any, power: Any) -> Any:
    """A float about 1, times 2 to a whole power that keeps it normal."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        whole, mantissa_bits, _, _ = _layout(value)
        exponent = builder.fptosi(args[1], _I32)
        exponent = exponent if whole is _I32 else builder.sext(exponent, whole)
        bits = builder.add(builder.bitcast(args[0], whole), builder.shl(exponent, mantissa_bits))
        return builder.bitcast(bits, args[0].type)

    return value(value, value), code


def _layout(dtype: Any) -> tuple[Any, Any, Any, Any]:
    """Integer type, mantissa bits, exponent bias, and √½ of a float type, as its bits."""
    if dtype == types.float32:
        return _I32, *(ir.Constant(_I32, n) for n in (23, 127, 0x3F3504F3))
    return _I64, *(ir.Constant(_I64, n) for n in (52, 1023, 0x3FE6A09E667F3BCD))


@intrinsic
def _weigh_4(typing: Any, nodes: Any, at: Any, across: Any, weights: Any, out: Any, to: Any) -> Any:
    """Four lanes of ``(w0·a + w1·b) + (w2·c + w3·d)`` into `out` at `to`.

    a, b and c are the nodes at the three indices `at`, d the one `across` from a.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        where = [
            _address(context, builder, nodes, args[0], builder.extract_value(args[1], k))
            for k in range(3)
        ]
        where.append(builder.gep(where[0], [args[2]]))
        terms = []
        for k in range(4):
            node = builder.load(_vector_at(builder, where[k], 4), align=_bytes(nodes.dtype))
            weight = _splat(builder, builder.extract_value(args[3], k), 4)
            terms.append(builder.fmul(weight, node))
        total = builder.fadd(builder.fadd(terms[0], terms[1]), builder.fadd(terms[2], terms[3]))
        target = _vector_at(builder, _address(context, builder, out, args[4], args[5]), 4)
        builder.store(total, target, align=_bytes(out.dtype))
        return context.get_dummy_value()

    return types.void(nodes, at, types.int64, weights, out, to), code


@intrinsic
def _weigh_8(
    typing: Any, nodes: Any, at: Any, g_step: Any, r_step: Any, weights: Any, ends: Any,
    out: Any, to: Any,
) -> Any:  # fmt: skip
    """Four lanes of the eight nodes of a cell, weighed, into `out` at `to`.

    The two nodes along blue lie side by side and are read as one; the four
    pairs are added with `weights`, then the two ends of blue with `ends`.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        first = _address(context, builder, nodes, args[0], args[1])
        second = builder.gep(first, [args[2]])
        third = builder.gep(first, [args[3]])
        fourth = builder.gep(third, [args[2]])
        terms = []
        for k, where in enumerate((first, second, third, fourth)):
            pair = builder.load(_vector_at(builder, where, 8), align=_bytes(nodes.dtype))
            weight = _splat(builder, builder.extract_value(args[4], k), 8)
            terms.append(builder.fmul(weight, pair))
        pair = builder.fadd(builder.fadd(terms[0], terms[1]), builder.fadd(terms[2], terms[3]))
        halves = []
        for k in range(2):
            half = _shuffled(builder, pair, pair, list(range(4 * k, 4 * k + 4)))
            weight = _splat(builder, builder.extract_value(args[5], k), 4)
            halves.append(builder.fmul(weight, half))
        total = builder.fadd(*halves)
        target = _vector_at(builder, _address(context, builder, out, args[6], args[7]), 4)
        builder.store(total, target, align=_bytes(out.dtype))
        return context.get_dummy_value()

    return types.void(nodes, at, types.int64, types.int64, weights, ends, out, to), code


@intrinsic
def _planes_of_8(typing: Any, quads: Any, planes: Any, i: Any) -> Any:
    """Pixels i to i + 8, four numbers each, into the three planes."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        align = _bytes(quads.dtype)
        four = builder.shl(args[2], ir.Constant(_I64, 2))
        base = _address(context, builder, quads, args[0], four)

        def pixel(k: int) -> Any:
            where = builder.gep(base, [ir.Constant(_I64, 4 * k)])
            return builder.load(_vector_at(builder, where, 4), align=align)

        # Pixels k and k + 4 side by side, so that what follows stays within the halves.
        rows = [_shuffled(builder, pixel(k), pixel(k + 4), list(range(8))) for k in range(4)]
        low, high = [0, 8, 1, 9, 4, 12, 5, 13], [2, 10, 3, 11, 6, 14, 7, 15]
        left = [0, 1, 8, 9, 4, 5, 12, 13]
        right = [2, 3, 10, 11, 6, 7, 14, 15]
        red_green = [_shuffled(builder, rows[k], rows[k + 1], low) for k in (0, 2)]
        blue = [_shuffled(builder, rows[k], rows[k + 1], high) for k in (0, 2)]
        channels = [
            _shuffled(builder, red_green[0], red_green[1], left),
            _shuffled(builder, red_green[0], red_green[1], right),
            _shuffled(builder, blue[0], blue[1], left),
        ]
        for c, values in enumerate(channels):
            place = builder.add(args[2], ir.Constant(_I64, c * BLOCK))
            where = _vector_at(builder, _address(context, builder, planes, args[1], place), 8)
            builder.store(values, where, align=align)
        return context.get_dummy_value()

    return types.void(quads, planes, types.int64), code


# -- In and out ---------------------------------------------------------------


def _loader(get: Any) -> Any:
    """The piece that brings pixels into the planes.

    `step` leads from pixel to pixel and `channel` from channel to channel, in elements.
    """

    @_piece
    def load(address, step, channel, count, planes):
        if count == BLOCK and step == 3 and channel == 1:
            for i in range(BLOCK):
                planes[0, i] = get(address, 3 * i)
                planes[1, i] = get(address, 3 * i + 1)
                planes[2, i] = get(address, 3 * i + 2)
        else:
            for c in range(3):
                for i in range(count):
                    planes[c, i] = get(address, c * channel + i * step)

    return load


def _storer(put: Any) -> Any:
    """The piece that takes the planes to pixels; see `_loader`."""

    @_piece
    def store(planes, address, step, channel, count, peak):
        peak = planes.dtype.type(peak)
        if count == BLOCK and step == 3 and channel == 1:
            for i in range(BLOCK):
                put(address, 3 * i, planes[0, i], peak)
                put(address, 3 * i + 1, planes[1, i], peak)
                put(address, 3 * i + 2, planes[2, i], peak)
        else:
            for c in range(3):
                for i in range(count):
                    put(address, c * channel + i * step, planes[c, i], peak)

    return store


TYPES = ("uint8", "uint16", "float32", "float64")
_load_u1, _load_u2, _load_f4, _load_f8 = (_loader(_getter(getattr(types, t))) for t in TYPES)
_store_u1, _store_u2, _store_f4, _store_f8 = (_storer(_putter(getattr(types, t))) for t in TYPES)


@_passage
def _load(kind, address, step, channel, count, planes):
    """Pixels of the type ``TYPES[kind]`` into the planes."""
    if kind == 0:
        _load_u1(address, step, channel, count, planes)
    elif kind == 1:
        _load_u2(address, step, channel, count, planes)
    elif kind == 2:
        _load_f4(address, step, channel, count, planes)
    else:
        _load_f8(address, step, channel, count, planes)


@_passage
def _store(planes, kind, address, step, channel, count, peak):
    """The planes into pixels of the type ``TYPES[kind]``."""
    if kind == 0:
        _store_u1(planes, address, step, channel, count, peak)
    elif kind == 1:
        _store_u2(planes, address, step, channel, count, peak)
    elif kind == 2:
        _store_f4(planes, address, step, channel, count, peak)
    else:
        _store_f8(planes, address, step, channel, count, peak)


@_passage
def _move(tile, address):
    """A tile of interleaved pixels to their place."""
    lanes = 64 // tile.itemsize
    for k in range(0, 3 * BLOCK, lanes):
        _move_64(tile, k, address + k * tile.itemsize)


@_passage
def _ask_ahead(ahead, j):
    """Ask for 16 pixels to come, so that memory works while a table is read.

    A block's pixels are asked for bit by bit: all at once is more than the
    processor keeps in flight, and it would wait.
    """
    reads, read_step, read_spread, writes, write_step, write_spread = ahead
    reads, writes = reads + j * read_step, writes + j * write_step
    _ask_to_read(reads)
    _ask_to_read(reads + read_spread)
    _ask_to_read(reads + 2 * read_spread)
    _ask_to_write(writes)
    _ask_to_write(writes + write_spread)
    _ask_to_write(writes + 2 * write_spread)


# -- Steps without a table ----------------------------------------------------


@_piece
def _matrix(planes, params):
    """``m·rgb + offset``: nine numbers row by row, then three."""
    number = planes.dtype.type
    m00, m01, m02 = number(params[0]), number(params[1]), number(params[2])
    m10, m11, m12 = number(params[3]), number(params[4]), number(params[5])
    m20, m21, m22 = number(params[6]), number(params[7]), number(params[8])
    o0, o1, o2 = number(params[9]), number(params[10]), number(params[11])
    for i in range(BLOCK):
        r, g, b = planes[0, i], planes[1, i], planes[2, i]
        planes[0, i] = ((m00 * r + m01 * g) + m02 * b) + o0
        planes[1, i] = ((m10 * r + m11 * g) + m12 * b) + o1
        planes[2, i] = ((m20 * r + m21 * g) + m22 * b) + o2


@_piece
def _clamp(planes, params):
    """Values held between two limits; NaN stays NaN."""
    number = planes.dtype.type
    low, high = number(params[0]), number(params[1])
    for c in range(3):
        for i in range(BLOCK):
            x = planes[c, i]
            x = low if x < low else x
            planes[c, i] = high if x > high else x


@_inner
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


@_inner
def _log2_series_single(q):
    """The same in float32, to 2**-26; in pairs, which do not wait for each other."""
    square = q * q
    low = np.float32(1) + q * np.float32(1 / 3)
    high = np.float32(1 / 5) + q * np.float32(1 / 7)
    return low + square * (high + square * np.float32(1 / 9))


@_inner
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


@_inner
def _exp_series_single(t):
    """The same in float32, to 2**-26."""
    square = t * t
    low = (np.float32(1) + t) + square * (np.float32(0.5) + t * np.float32(1 / 6))
    middle = np.float32(1 / 24) + t * np.float32(1 / 120)
    high = np.float32(1 / 720) + t * np.float32(1 / 5040)
    return low + (square * square) * (middle + square * high)


@_piece
def _power(planes, params):
    """Each channel to its power where it is over 0; unchanged below, and for NaN.

    By log2 (the exponent, and the series of atanh about 1) and exp2 (the whole
    part as an exponent, the rest by the series of exp). The system's own pow is
    not used: it gives other bits on other systems, and one number at a time.
    Numbers under the least normal one are taken as 0.
    """
    number = planes.dtype.type
    single = _is_single(number(0))
    least = number(1.1754943508222875e-38 if single else 2.2250738585072014e-308)
    lowest = number(-126.0 if single else -1022.0)
    highest = number(127.99999 if single else 1023.9999999999999)
    zero, half, one, infinity = number(0), number(0.5), number(1), number(np.inf)
    log2_e_twice, log_2 = number(2.8853900817779268), number(0.6931471805599453)
    for c in range(3):
        power = number(params[c])
        if power == one:
            continue
        for i in range(BLOCK):
            x = planes[c, i]
            exponent, mantissa = _split(x if x >= least else one)
            z = (mantissa - one) / (mantissa + one)
            series = _log2_series_single(z * z) if single else _log2_series(z * z)
            y = power * (exponent + (log2_e_twice * z) * number(series))
            y = y if y > lowest else lowest
            y = y if y < highest else highest
            whole = _whole(y + (half if y > zero else -half))
            t = (y - whole) * log_2
            raised = _scaled(number(_exp_series_single(t) if single else _exp_series(t)), whole)
            raised = raised if x >= least else zero
            raised = raised if x < infinity else infinity
            planes[c, i] = raised if x > zero else x


# -- Steps with a table -------------------------------------------------------


@_piece
def _place(planes, size, params, how, cells, parts):
    """Cell and fraction of each value on its axis; those of NaN mean nothing."""
    number = planes.dtype.type
    for c in range(3):
        if how == EXACT:
            rate, zero = number(params[3 + c]), number(0)
            last, top = number(size - 1), number(size - 2)
            for i in range(BLOCK):
                place = planes[c, i] * rate
                place = place if place > zero else zero
                place = place if place < last else last
                cell = _whole(place)
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
            for i in range(BLOCK):
                place = planes[c, i] * last
                place = place if place > zero else zero
                place = place if place < most else most
                cell = _whole(place * share)
                cell = cell if cell < top else top
                cells[c, i] = cell
                parts[c, i] = (place - cell * peak) * share
        else:
            low, steps = params[c], params[3 + c]
            edge, under = float(size - 1), float(size - 2)
            for i in range(BLOCK):
                found = (np.float64(planes[c, i]) - low) * steps
                found = found if found > 0.0 else 0.0
                found = found if found < edge else edge
                whole = _whole(found)
                whole = whole if whole < under else under
                cells[c, i] = number(whole)
                parts[c, i] = number(found - whole)


@_piece
def _curve(planes, pool, op, params, work, ahead):
    """A 1D table a channel: linear between its rows, NaN stays NaN."""
    cells, parts, corners, weights = work
    begin, size, how = op[1], op[2], op[3]
    one = pool.dtype.type(1)
    _place(planes, size, params, how, cells, parts)
    for c in range(3):
        for i in range(BLOCK):
            corners[c, i] = cells[c, i]
        rows = pool[begin + c * size :]
        for j in range(0, BLOCK, 16):
            if c == 0:
                _ask_ahead(ahead, j)
            for i in range(j, j + 16, 4):
                at = (corners[c, i], corners[c, i + 1], corners[c, i + 2], corners[c, i + 3])
                _pairs_4(rows, at, weights, i)
        for i in range(BLOCK):
            x, part = planes[c, i], parts[c, i]
            y = (one - part) * weights[0, i] + part * weights[1, i]
            planes[c, i] = y if x == x else x


@_piece
def _tetrahedra(planes, size, cells, parts, corners, weights):
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
    for i in range(BLOCK):
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


@_piece
def _cubes(planes, size, cells, parts, corners, weights):
    """The first node's index, four weights over red and green, and two over blue."""
    number = planes.dtype.type
    one, nan = number(1), number(np.nan)
    b_step, g_step, r_step = number(4), number(4 * size), number(4 * size * size)
    for i in range(BLOCK):
        x, y, z = planes[0, i], planes[1, i], planes[2, i]
        r, g, b = parts[0, i], parts[1, i], parts[2, i]
        corners[0, i] = cells[0, i] * r_step + cells[1, i] * g_step + cells[2, i] * b_step
        r_off, g_off = one - r, one - g
        weights[0, i] = nan if (x != x) | (y != y) | (z != z) else r_off * g_off
        weights[1, i], weights[2, i], weights[3, i] = r_off * g, r * g_off, r * g
        weights[4, i], weights[5, i] = one - b, b


@_passage
def _lattice(planes, pool, op, params, work, out, stride, ahead):
    """The lattice at each pixel of the planes, `stride` elements a pixel in `out`.

    Four lanes are stored; with a stride of three the next pixel covers the fourth.
    """
    cells, parts, corners, weights = work
    nodes, size, how = pool[op[1] :], op[2], op[3]
    _place(planes, size, params, how, cells, parts)
    if op[0] == TETRAHEDRAL:
        _tetrahedra(planes, size, cells, parts, corners, weights)
        across = 4 * (size * size + size + 1)
        for j in range(0, BLOCK, 16):
            _ask_ahead(ahead, j)
            for i in range(j, j + 16):
                _weigh_4(
                    nodes,
                    (corners[0, i], corners[1, i], corners[2, i]),
                    across,
                    (weights[0, i], weights[1, i], weights[2, i], weights[3, i]),
                    out,
                    stride * i,
                )
    else:
        _cubes(planes, size, cells, parts, corners, weights)
        for j in range(0, BLOCK, 16):
            _ask_ahead(ahead, j)
            for i in range(j, j + 16):
                _weigh_8(
                    nodes,
                    corners[0, i],
                    4 * size,
                    4 * size * size,
                    (weights[0, i], weights[1, i], weights[2, i], weights[3, i]),
                    (weights[4, i], weights[5, i]),
                    out,
                    stride * i,
                )


def _run(src, dst, ops, params, pool, peak, start, stop):
    """Run the program over the pixels `start` to `stop`.

    `src` and `dst` say where pixels are: the index of their type in `TYPES`, the
    bytes of an element, the address of the first, and the elements from pixel to
    pixel and from channel to channel. `peak` is the code of 1.0 where `dst`
    holds codes.
    """
    planes = np.empty((3, BLOCK), pool.dtype)
    quads = np.empty(4 * BLOCK, pool.dtype)
    weights = np.empty((6, BLOCK), pool.dtype)
    corners = np.empty((3, BLOCK), np.int32)
    cells = np.empty((3, BLOCK), pool.dtype)
    parts = np.empty((3, BLOCK), pool.dtype)
    work = (cells, parts, corners, weights)
    steps = ops.shape[0]
    src_kind, src_item, src_address, src_step, src_channel = src
    dst_kind, dst_item, dst_address, dst_step, dst_channel = dst
    interleaved = dst_step == 3 and dst_channel == 1
    as_it_is = interleaved and dst_item == pool.itemsize
    src_spread = 64 if src_step == 3 and src_channel == 1 else src_channel * src_item
    dst_spread = 64 if interleaved else dst_channel * dst_item
    src_step_bytes, dst_step_bytes = src_step * src_item, dst_step * dst_item
    for at in range(start, stop, BLOCK):
        count = min(BLOCK, stop - at)
        reads, writes = src_address + at * src_step_bytes, dst_address + at * dst_step_bytes
        ahead = (
            reads + 2 * BLOCK * src_step_bytes, src_step_bytes, src_spread,
            writes, dst_step_bytes, dst_spread,
        )  # fmt: skip
        moved = False
        if count < BLOCK:
            planes[:] = 0  # what lies past the last pixel is computed too, and let go
        _load(src_kind, reads, src_step, src_channel, count, planes)
        for k in range(steps):
            op = ops[k]
            if op[0] == MATRIX:
                _matrix(planes, params[k])
            elif op[0] == CLAMP:
                _clamp(planes, params[k])
            elif op[0] == POWER:
                _power(planes, params[k])
            elif op[0] == CURVE:
                _curve(planes, pool, op, params[k], work, ahead)
            else:
                moved = k == steps - 1 and as_it_is and count == BLOCK
                _lattice(planes, pool, op, params[k], work, quads, 3 if moved else 4, ahead)
                if moved:
                    _move(quads, writes)
                else:
                    for i in range(0, BLOCK, 8):
                        _planes_of_8(quads, planes, i)
        if not moved:
            _store(planes, dst_kind, writes, dst_step, dst_channel, count, peak)


_WHERE = types.UniTuple(types.int64, 5)


_runners: dict[np.dtype[Any], Any] = {}
_compiling = threading.Lock()  # frames in parallel wait for one compilation


def is_loaded(number: DTypeLike) -> bool:
    """Whether `runner` has its answer at hand."""
    return np.dtype(number) in _runners


def runner(number: DTypeLike) -> Any:
    """The compiled `_run` that computes in `number`, float32 or float64."""
    number = np.dtype(number)
    with _compiling:
        if number not in _runners:
            _runners[number] = _compile_run(number)
        return _runners[number]


def _compile_run(number: np.dtype[Any]) -> Any:
    return _compiled(
        _run,
        types.void(
            _WHERE,
            _WHERE,
            types.Array(types.int64, 2, "C", readonly=True),
            types.Array(types.float64, 2, "C", readonly=True),
            types.Array(getattr(types, number.name), 1, "C", readonly=True),
            types.float64,
            types.int64,
            types.int64,
        ),
    )


def where(pixels: Any) -> tuple[int, int, int, int, int]:
    """What `_run` wants to know of an array of shape (pixels, 3)."""
    item = pixels.itemsize
    step, channel = (stride // item for stride in pixels.strides)
    address = pixels.__array_interface__["data"][0]
    return TYPES.index(pixels.dtype.name), item, address, step, channel


def _compiled(function: Any, signature: Any) -> Any:
    """The function compiled for one signature, or loaded from an earlier process's cache."""
    try:
        return njit(signature, cache=True, **_options)(function)
    except RuntimeError:  # there is no folder that compiled code could be written to
        return njit(signature, **_options)(function)
