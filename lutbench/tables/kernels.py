"""The compiled pixel kernels. Importing this module imports numba.

One kernel runs a *program* (see `programs.py`) over a range of pixels, a block
of pixels at a time: the block is loaded into planes that stay in the first
cache, each step works on the planes, and the result is stored, so a chain of
steps reads and writes every pixel once.

What can be done for many pixels at once is written as a plain loop over a
block of constant length, which LLVM turns into vector code; the lattice itself
is read a whole node (four numbers) at a time.

Only +, −, ×, comparisons and truncations are used, each rounded on its own (no
fused multiply-add), so the result does not depend on the machine, the block a
pixel falls in, or the number of threads; `plain.py` gives the same bits in numpy.
"""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic
from numpy.typing import DTypeLike

from lutbench.tables.programs import CURVE, TETRAHEDRAL

BLOCK = 256  # pixels; the working planes of one block fit the first cache


def _address(context: Any, builder: Any, array_type: Any, array: Any, index: Any) -> Any:
    data = context.make_array(array_type)(context, builder, array).data
    if index.type.width < 64:
        index = builder.sext(index, ir.IntType(64))
    return builder.gep(data, [index])


@intrinsic
def _get(typing: Any, array: Any, index: Any) -> Any:
    """The element `index` places after the first, whatever the array's strides."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        return builder.load(_address(context, builder, signature.args[0], args[0], args[1]))

    return array.dtype(array, index), code


@intrinsic
def _put(typing: Any, array: Any, index: Any, value: Any, peak: Any) -> Any:
    """Write `value` `index` places after the first element, whatever the strides.

    An array of codes gets the nearest code of 0..`peak` to ``value × peak``
    (halves up), NaN as 0.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        array, index, value, peak = args
        to = signature.args[0].dtype
        if isinstance(to, types.Integer):
            zero = ir.Constant(value.type, 0.0)
            peak = context.cast(builder, peak, signature.args[3], signature.args[2])
            value = builder.fmul(value, peak)
            value = builder.select(builder.fcmp_ordered(">", value, zero), value, zero)
            value = builder.select(builder.fcmp_ordered("<", value, peak), value, peak)
            value = builder.fadd(value, ir.Constant(value.type, 0.5))
            value = builder.trunc(builder.fptosi(value, ir.IntType(32)), context.get_value_type(to))
        else:
            value = context.cast(builder, value, signature.args[2], to)
        builder.store(value, _address(context, builder, signature.args[0], array, index))
        return context.get_dummy_value()

    return types.void(array, index, value, peak), code


def _weigh(corners: int) -> Any:
    """The intrinsic that adds `corners` weighted nodes, four lanes at once, in pairs."""

    @intrinsic
    def weigh(typing: Any, nodes: Any, at: Any, weights: Any, out: Any, to: Any) -> Any:
        """``out[to:to+4] = Σ weights[k] · nodes[at[k]:at[k]+4]``."""

        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            element = context.get_value_type(nodes.dtype)
            lanes = ir.VectorType(element, 4)
            zeros = ir.Constant(ir.VectorType(ir.IntType(32), 4), [0] * 4)
            undefined = ir.Constant(lanes, ir.Undefined)
            align = nodes.dtype.bitwidth // 8

            def term(k: int) -> Any:
                index = builder.extract_value(args[1], k)
                where = _address(context, builder, nodes, args[0], index)
                node = builder.load(builder.bitcast(where, lanes.as_pointer()), align=align)
                weight = builder.insert_element(
                    undefined,
                    builder.extract_value(args[2], k),
                    ir.Constant(ir.IntType(32), 0),
                )
                return builder.fmul(builder.shuffle_vector(weight, undefined, zeros), node)

            terms = [term(k) for k in range(corners)]
            while len(terms) > 1:
                terms = [builder.fadd(*pair) for pair in zip(terms[::2], terms[1::2], strict=True)]
            where = _address(context, builder, out, args[3], args[4])
            builder.store(terms[0], builder.bitcast(where, lanes.as_pointer()), align=align)
            return context.get_dummy_value()

        return types.void(nodes, at, weights, out, to), code

    return weigh


_weigh_4 = _weigh(4)
_weigh_8 = _weigh(8)


@njit(nogil=True)
def _load(src, start, count, planes):
    """Pixels `start`.. into the planes; the rest of the planes keeps what it holds."""
    item = src.itemsize
    step, channel = src.strides[0] // item, src.strides[1] // item
    if step == 3 and channel == 1 and count == BLOCK:
        first = 3 * start
        for i in range(BLOCK):
            planes[0, i] = _get(src, first + 3 * i)
            planes[1, i] = _get(src, first + 3 * i + 1)
            planes[2, i] = _get(src, first + 3 * i + 2)
    elif step == 1:
        for c in range(3):
            first = start + c * channel
            for i in range(count):
                planes[c, i] = _get(src, first + i)
    else:
        first = start * step
        for i in range(count):
            planes[0, i] = _get(src, first + i * step)
            planes[1, i] = _get(src, first + i * step + channel)
            planes[2, i] = _get(src, first + i * step + 2 * channel)


@njit(nogil=True)
def _store(planes, dst, start, count, peak):
    """The planes into pixels `start`.. of `dst`."""
    item = dst.itemsize
    step, channel = dst.strides[0] // item, dst.strides[1] // item
    if step == 3 and channel == 1 and count == BLOCK:
        first = 3 * start
        for i in range(BLOCK):
            _put(dst, first + 3 * i, planes[0, i], peak)
            _put(dst, first + 3 * i + 1, planes[1, i], peak)
            _put(dst, first + 3 * i + 2, planes[2, i], peak)
    elif step == 1:
        for c in range(3):
            first = start + c * channel
            for i in range(count):
                _put(dst, first + i, planes[c, i], peak)
    else:
        first = start * step
        for i in range(count):
            _put(dst, first + i * step, planes[0, i], peak)
            _put(dst, first + i * step + channel, planes[1, i], peak)
            _put(dst, first + i * step + 2 * channel, planes[2, i], peak)


@njit(nogil=True)
def _curve(planes, pool, begin, size, params):
    """A 1D table a channel: linear between its rows, NaN stays NaN."""
    number = pool.dtype.type
    one = number(1)
    last = float(size - 1)
    top = size - 2
    for c in range(3):
        low, steps = params[c], params[3 + c]
        first = begin + c * size
        for i in range(BLOCK):
            x = planes[c, i]
            place = (x - low) * steps
            place = place if place > 0.0 else 0.0
            place = place if place < last else last
            cell = min(np.int32(place), np.int32(top))
            part = number(place - cell)
            at = first + cell
            y = (one - part) * _get(pool, at) + part * _get(pool, at + 1)
            planes[c, i] = y if x == x else x


@njit(nogil=True)
def _place(planes, size, params, exact, cells):
    """Cell indices of each channel; the planes become fractions, NaN in all for NaN in any."""
    number = planes.dtype.type
    top = np.int32(size - 2)
    if exact:
        zero = number(0)
        last = number(size - 1)
        r_steps, g_steps, b_steps = number(params[3]), number(params[4]), number(params[5])
        for i in range(BLOCK):
            r, g, b = planes[0, i], planes[1, i], planes[2, i]
            bad = (r != r) | (g != g) | (b != b)
            r, g, b = r * r_steps, g * g_steps, b * b_steps
            r = r if r > zero else zero
            g = g if g > zero else zero
            b = b if b > zero else zero
            r = r if r < last else last
            g = g if g < last else last
            b = b if b < last else last
            r_cell = min(np.int32(r), top)
            g_cell = min(np.int32(g), top)
            b_cell = min(np.int32(b), top)
            cells[0, i], cells[1, i], cells[2, i] = r_cell, g_cell, b_cell
            planes[0, i] = number(np.nan) if bad else r - number(r_cell)
            planes[1, i] = g - number(g_cell)
            planes[2, i] = b - number(b_cell)
    else:
        edge = float(size - 1)
        for i in range(BLOCK):
            r, g, b = planes[0, i], planes[1, i], planes[2, i]
            bad = (r != r) | (g != g) | (b != b)
            x = (np.float64(r) - params[0]) * params[3]
            y = (np.float64(g) - params[1]) * params[4]
            z = (np.float64(b) - params[2]) * params[5]
            x = x if x > 0.0 else 0.0
            y = y if y > 0.0 else 0.0
            z = z if z > 0.0 else 0.0
            x = x if x < edge else edge
            y = y if y < edge else edge
            z = z if z < edge else edge
            r_cell = min(np.int32(x), top)
            g_cell = min(np.int32(y), top)
            b_cell = min(np.int32(z), top)
            cells[0, i], cells[1, i], cells[2, i] = r_cell, g_cell, b_cell
            planes[0, i] = number(np.nan) if bad else number(x - r_cell)
            planes[1, i] = number(y - g_cell)
            planes[2, i] = number(z - b_cell)


@njit(nogil=True)
def _tetrahedra(planes, size, cells, corners, weights):
    """From the fractions in the planes to four nodes and four weights a pixel.

    The cell is cut into six tetrahedra along its grey diagonal. The path from
    the cell's first node to its last goes along the axis of the largest
    fraction first and of the smallest last; the weights are the differences of
    the sorted fractions (P. Hung, Journal of Electronic Imaging 2(1), 1993,
    from memory).
    """
    number = planes.dtype.type
    one = number(1)
    b_step = np.int32(4)
    g_step = np.int32(4 * size)
    r_step = np.int32(4 * size * size)
    across = np.int32(r_step + g_step + b_step)
    for i in range(BLOCK):
        r, g, b = planes[0, i], planes[1, i], planes[2, i]
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
        corners[3, i] = base + across
        weights[0, i] = one - largest if r == r else r
        weights[1, i] = largest - middle
        weights[2, i] = middle - smallest
        weights[3, i] = smallest


@njit(nogil=True)
def _weigh_tetrahedra(nodes, corners, weights, i, out, to):
    _weigh_4(
        nodes,
        (corners[0, i], corners[1, i], corners[2, i], corners[3, i]),
        (weights[0, i], weights[1, i], weights[2, i], weights[3, i]),
        out,
        to,
    )


@njit(nogil=True)
def _cubes(planes, size, cells, corners, weights):
    """From the fractions in the planes to the first node and eight weights a pixel."""
    number = planes.dtype.type
    one = number(1)
    b_step = np.int32(4)
    g_step = np.int32(4 * size)
    r_step = np.int32(4 * size * size)
    for i in range(BLOCK):
        r, g, b = planes[0, i], planes[1, i], planes[2, i]
        r_off, g_off, b_off = one - r, one - g, one - b
        corners[0, i] = cells[0, i] * r_step + cells[1, i] * g_step + cells[2, i] * b_step
        off_off, off_on, on_off, on_on = r_off * g_off, r_off * g, r * g_off, r * g
        weights[0, i], weights[1, i] = off_off * b_off, off_off * b
        weights[2, i], weights[3, i] = off_on * b_off, off_on * b
        weights[4, i], weights[5, i] = on_off * b_off, on_off * b
        weights[6, i], weights[7, i] = on_on * b_off, on_on * b


@njit(nogil=True)
def _weigh_cubes(nodes, size, corners, weights, i, out, to):
    a = corners[0, i]
    b = a + 4 * size
    c = a + 4 * size * size
    d = b + 4 * size * size
    _weigh_8(
        nodes,
        (a, a + 4, b, b + 4, c, c + 4, d, d + 4),
        (
            weights[0, i],
            weights[1, i],
            weights[2, i],
            weights[3, i],
            weights[4, i],
            weights[5, i],
            weights[6, i],
            weights[7, i],
        ),
        out,
        to,
    )


@njit(nogil=True)
def _planes_of(quads, planes):
    for i in range(BLOCK):
        planes[0, i] = quads[4 * i]
        planes[1, i] = quads[4 * i + 1]
        planes[2, i] = quads[4 * i + 2]


def _run(src, dst, ops, params, pool, peak, start, stop):
    """Run the program over the pixels `start` to `stop` of `src` into `dst`.

    `src` and `dst` have shape (pixels, 3) and any strides; `peak` is the code of
    1.0 where `dst` holds codes.
    """
    planes = np.empty((3, BLOCK), pool.dtype)
    quads = np.empty(4 * BLOCK, pool.dtype)
    weights = np.empty((8, BLOCK), pool.dtype)
    corners = np.empty((4, BLOCK), np.int32)
    cells = np.empty((3, BLOCK), np.int32)
    for at in range(start, stop, BLOCK):
        count = min(BLOCK, stop - at)
        _load(src, at, count, planes)
        for k in range(ops.shape[0]):
            op, begin, size, exact = ops[k, 0], ops[k, 1], ops[k, 2], ops[k, 3]
            if op == CURVE:
                _curve(planes, pool, begin, size, params[k])
            else:
                nodes = pool[begin:]
                _place(planes, size, params[k], exact, cells)
                if op == TETRAHEDRAL:
                    _tetrahedra(planes, size, cells, corners, weights)
                    for i in range(count):
                        _weigh_tetrahedra(nodes, corners, weights, i, quads, 4 * i)
                else:
                    _cubes(planes, size, cells, corners, weights)
                    for i in range(count):
                        _weigh_cubes(nodes, size, corners, weights, i, quads, 4 * i)
                _planes_of(quads, planes)
        _store(planes, dst, at, count, peak)


@functools.cache
def runner(src: DTypeLike, dst: DTypeLike, number: DTypeLike) -> Any:
    """The compiled `_run` for pixels of type `src` into `dst`, computed in `number`."""

    def of(dtype: DTypeLike) -> Any:
        return getattr(types, np.dtype(dtype).name)

    signature = types.void(
        types.Array(of(src), 2, "A", readonly=True),
        types.Array(of(dst), 2, "A"),
        types.Array(types.int64, 2, "C", readonly=True),
        types.Array(types.float64, 2, "C", readonly=True),
        types.Array(of(number), 1, "C", readonly=True),
        types.float64,
        types.int64,
        types.int64,
    )
    try:
        return njit(signature, nogil=True, cache=True)(_run)
    except RuntimeError:  # no folder for the compiled code can be written
        return njit(signature, nogil=True)(_run)
