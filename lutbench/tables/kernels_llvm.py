"""What the kernels do that Python cannot say: bare addresses, whole nodes, bits of floats.

Each is a numba intrinsic: Python that writes LLVM's instructions in place of a
call. None checks an index or an address; `kernels.py` sees to it that they hold.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

BLOCK_PIXELS = 256  # pixels; the working planes of one block fit the first cache

_I32 = ir.IntType(32)
_I64 = ir.IntType(64)


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


# A half float (IEEE 754 binary16) has 5 bits of exponent, 10 of mantissa; as bits of a float:
_SHIFT = 13  # the mantissas' difference in length
_BIAS = (127 - 15) << 23  # the exponents' difference
_LEAST = 113 << 23  # the least normal half float, 2**-14
_MOST = 143 << 23  # 2**16: what begins here is no half float any more
_INFINITE = 0x7C00  # of a half float; a NaN is above it
_HALVES = 126 << 23  # 0.5: added, the lowest bit left is a half float's least step, 2**-24


def _from_half(builder: Any, bits: Any) -> Any:
    """The float32 of a half float's bits. Exact; in steps that LLVM makes vectors of."""

    def word(value: int) -> Any:
        return ir.Constant(_I32, value)

    bits = builder.zext(bits, _I32)
    size = builder.and_(bits, word(0x7FFF))
    moved = builder.add(builder.shl(size, word(_SHIFT)), word(_BIAS))
    special = builder.icmp_unsigned(">=", size, word(_INFINITE))
    moved = builder.select(special, builder.add(moved, word(_BIAS)), moved)
    small = builder.icmp_unsigned("<", size, word(0x400))
    # Under the least normal one there is no hidden bit: it is put there, and taken off.
    least = builder.bitcast(word(_LEAST), ir.FloatType())
    padded = builder.bitcast(builder.add(moved, word(1 << 23)), ir.FloatType())
    exact = builder.bitcast(builder.fsub(padded, least), _I32)
    found = builder.select(small, exact, moved)
    sign = builder.shl(builder.and_(bits, word(0x8000)), word(16))
    return builder.bitcast(builder.or_(found, sign), ir.FloatType())


def _to_half(builder: Any, value: Any) -> Any:
    """The bits of the half float next to a float32, ties to even; too large is infinite."""

    def word(number: int) -> Any:
        return ir.Constant(_I32, number)

    bits = builder.bitcast(value, _I32)
    size = builder.and_(bits, word(0x7FFFFFFF))
    # Just under half a step and the last bit that stays, added: to nearest, ties to even.
    odd = builder.and_(builder.lshr(size, word(_SHIFT)), word(1))
    lifted = builder.add(builder.add(size, word(0xFFF - _BIAS)), odd)
    found = builder.lshr(lifted, word(_SHIFT))
    # Under the least normal one a sum rounds as wanted: its lowest bit is the least step.
    halves = builder.bitcast(word(_HALVES), ir.FloatType())
    summed = builder.fadd(builder.bitcast(size, ir.FloatType()), halves)
    small = builder.sub(builder.bitcast(summed, _I32), word(_HALVES))
    found = builder.select(builder.icmp_unsigned("<", size, word(_LEAST)), small, found)
    too_large = builder.icmp_unsigned(">=", size, word(_MOST))
    found = builder.select(too_large, word(_INFINITE), found)
    # A NaN keeps the upper bits of its mantissa, and stays one.
    kept = builder.or_(
        builder.lshr(builder.and_(size, word(0x7FFFFF)), word(_SHIFT)), word(_INFINITE)
    )
    alone = builder.icmp_unsigned("==", kept, word(_INFINITE))
    kept = builder.select(alone, word(_INFINITE + 1), kept)
    found = builder.select(builder.icmp_unsigned(">", size, word(0x7F800000)), kept, found)
    sign = builder.and_(builder.lshr(bits, word(16)), word(0x8000))
    return builder.trunc(builder.or_(found, sign), ir.IntType(16))


def getter(dtype: Any) -> Any:
    """The intrinsic that reads element `index` of an array of `dtype` at an address.

    A half float is read as a float32: numba knows the type on devices only.
    """
    half = dtype == types.float16
    stored, read = (types.uint16, types.float32) if half else (dtype, dtype)

    @intrinsic
    def get(typing: Any, address: Any, index: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            found = builder.load(_at(context, builder, stored, *args))
            return _from_half(builder, found) if half else found

        return read(types.int64, types.int64), code

    return get


def putter(dtype: Any) -> Any:
    """The intrinsic that writes a float as element `index` of an array of `dtype`.

    An array of codes gets the nearest code of 0..`peak` to ``value × peak``
    (halves up), NaN as 0. A float64 becomes a half float by way of float32.
    """
    half = dtype == types.float16
    stored = types.uint16 if half else dtype

    @intrinsic
    def put(typing: Any, address: Any, index: Any, value: Any, peak: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            where = _at(context, builder, stored, args[0], args[1])
            value, peak = args[2], args[3]
            if isinstance(dtype, types.Integer):
                zero = ir.Constant(value.type, 0.0)
                value = builder.fmul(value, peak)
                value = builder.select(builder.fcmp_ordered(">", value, zero), value, zero)
                value = builder.select(builder.fcmp_ordered("<", value, peak), value, peak)
                value = builder.fadd(value, ir.Constant(value.type, 0.5))
                value = builder.fptosi(value, _I32)
                value = builder.trunc(value, ir.IntType(dtype.bitwidth))
            elif half:
                single = context.cast(builder, value, signature.args[2], types.float32)
                value = _to_half(builder, single)
            else:
                value = context.cast(builder, value, signature.args[2], dtype)
            builder.store(value, where)
            return context.get_dummy_value()

        return types.void(types.int64, types.int64, value, value), code

    return put


@intrinsic
def truncated(typing: Any, value: Any) -> Any:
    """The whole part of a float of modest size, as a float of the same type."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.sitofp(builder.fptosi(args[0], _I32), args[0].type)

    return value(value), code


@intrinsic
def pairs_4(typing: Any, rows: Any, at: Any, planes: Any, i: Any) -> Any:
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
            place = builder.add(args[3], ir.Constant(_I64, plane * BLOCK_PIXELS))
            where = _vector_at(builder, _address(context, builder, planes, args[2], place), 4)
            builder.store(_shuffled(builder, left, right, picks), where, align=align)
        return context.get_dummy_value()

    return types.void(rows, at, planes, types.int64), code


@intrinsic
def move_64(typing: Any, src: Any, index: Any, address: Any) -> Any:
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


def prefetch_intrinsic(writes: bool) -> Any:
    """The intrinsic that prefetches an address into the cache, to be read or written."""

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


prefetch_to_read = prefetch_intrinsic(writes=False)
prefetch_to_write = prefetch_intrinsic(writes=True)


@intrinsic
def is_single(typing: Any, value: Any) -> Any:
    """Whether a value is a float32: a constant, so that only one branch on it is compiled."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return ir.Constant(ir.IntType(1), int(value == types.float32))

    return types.boolean(value), code


@intrinsic
def split(typing: Any, value: Any) -> Any:
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
def scaled(typing: Any, value: Any, power: Any) -> Any:
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
def weigh_4(typing: Any, nodes: Any, at: Any, across: Any, weights: Any, out: Any, to: Any) -> Any:
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
def weigh_8(
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
def planes_of_8(typing: Any, quads: Any, planes: Any, i: Any) -> Any:
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
            place = builder.add(args[2], ir.Constant(_I64, c * BLOCK_PIXELS))
            where = _vector_at(builder, _address(context, builder, planes, args[1], place), 8)
            builder.store(values, where, align=align)
        return context.get_dummy_value()

    return types.void(quads, planes, types.int64), code
