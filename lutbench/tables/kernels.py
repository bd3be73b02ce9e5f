"""The compiled pixel kernels. Importing this module imports numba.

One kernel runs a *program* (see `programs.py`) over a range of pixels, a block
of pixels at a time: the block is loaded into planes that stay in the first
cache, each step works on the planes, and the result is stored, so a chain of
steps reads and writes every pixel once.

What can be done for many pixels at once is written (in `kernels_steps.py`) as a
plain loop over a block of constant length, which LLVM turns into vector code. The
lattice itself is read a whole node (four numbers) at a time, which is several times faster
than gathering the numbers one by one.

Only +, −, ×, ÷, comparisons and truncations are used, each rounded on its own (no
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
from numba import types
from numpy.typing import DTypeLike

from lutbench.tables.kept_code import compiled, kept_name
from lutbench.tables.kernels_llvm import (
    BLOCK_PIXELS,
    getter,
    move_64,
    planes_of_8,
    putter,
    weigh_4,
    weigh_8,
)
from lutbench.tables.kernels_steps import (
    OPTIONS,
    clamp,
    cubes,
    curve,
    matrix,
    passage,
    piece,
    place,
    power,
    prefetch,
    tetrahedra,
)
from lutbench.tables.programs import CLAMP, CURVE, MATRIX, POWER, TETRAHEDRAL, TYPES

# -- In and out ---------------------------------------------------------------


def _loader(get: Any) -> Any:
    """The piece that brings pixels into the planes.

    `step` leads from pixel to pixel and `channel` from channel to channel, in elements.
    """

    @piece
    def load(address, step, channel, count, planes):
        if count == BLOCK_PIXELS and step == 3 and channel == 1:
            for i in range(BLOCK_PIXELS):
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

    @piece
    def store(planes, address, step, channel, count, peak):
        peak = planes.dtype.type(peak)
        if count == BLOCK_PIXELS and step == 3 and channel == 1:
            for i in range(BLOCK_PIXELS):
                put(address, 3 * i, planes[0, i], peak)
                put(address, 3 * i + 1, planes[1, i], peak)
                put(address, 3 * i + 2, planes[2, i], peak)
        else:
            for c in range(3):
                for i in range(count):
                    put(address, c * channel + i * step, planes[c, i], peak)

    return store


_load_u1, _load_u2, _load_f2, _load_f4, _load_f8 = (
    _loader(getter(getattr(types, name))) for name in TYPES
)
_store_u1, _store_u2, _store_f2, _store_f4, _store_f8 = (
    _storer(putter(getattr(types, name))) for name in TYPES
)


@passage
def _load(kind, address, step, channel, count, planes):
    """Pixels of the type ``TYPES[kind]`` into the planes."""
    if kind == 0:
        _load_u1(address, step, channel, count, planes)
    elif kind == 1:
        _load_u2(address, step, channel, count, planes)
    elif kind == 2:
        _load_f2(address, step, channel, count, planes)
    elif kind == 3:
        _load_f4(address, step, channel, count, planes)
    else:
        _load_f8(address, step, channel, count, planes)


@passage
def _store(planes, kind, address, step, channel, count, peak):
    """The planes into pixels of the type ``TYPES[kind]``."""
    if kind == 0:
        _store_u1(planes, address, step, channel, count, peak)
    elif kind == 1:
        _store_u2(planes, address, step, channel, count, peak)
    elif kind == 2:
        _store_f2(planes, address, step, channel, count, peak)
    elif kind == 3:
        _store_f4(planes, address, step, channel, count, peak)
    else:
        _store_f8(planes, address, step, channel, count, peak)


@passage
def _move(tile, address):
    """A tile of interleaved pixels to their place."""
    lanes = 64 // tile.itemsize
    for k in range(0, 3 * BLOCK_PIXELS, lanes):
        move_64(tile, k, address + k * tile.itemsize)


@passage
def _lattice(planes, pool, op, params, work, out, stride, ahead):
    """The lattice at each pixel of the planes, `stride` elements a pixel in `out`.

    Four lanes are stored; with a stride of three the next pixel covers the fourth.
    """
    cells, parts, corners, weights = work
    nodes, size, how = pool[op[1] :], op[2], op[3]
    place(planes, size, params, how, cells, parts)
    if op[0] == TETRAHEDRAL:
        tetrahedra(planes, size, cells, parts, corners, weights)
        across = 4 * (size * size + size + 1)
        for j in range(0, BLOCK_PIXELS, 16):
            prefetch(ahead, j)
            for i in range(j, j + 16):
                weigh_4(
                    nodes,
                    (corners[0, i], corners[1, i], corners[2, i]),
                    across,
                    (weights[0, i], weights[1, i], weights[2, i], weights[3, i]),
                    out,
                    stride * i,
                )
    else:
        cubes(planes, size, cells, parts, corners, weights)
        for j in range(0, BLOCK_PIXELS, 16):
            prefetch(ahead, j)
            for i in range(j, j + 16):
                weigh_8(
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
    planes = np.empty((3, BLOCK_PIXELS), pool.dtype)
    quads = np.empty(4 * BLOCK_PIXELS, pool.dtype)
    weights = np.empty((6, BLOCK_PIXELS), pool.dtype)
    corners = np.empty((3, BLOCK_PIXELS), np.int32)
    cells = np.empty((3, BLOCK_PIXELS), pool.dtype)
    parts = np.empty((3, BLOCK_PIXELS), pool.dtype)
    work = (cells, parts, corners, weights)
    steps = ops.shape[0]
    src_kind, src_item, src_address, src_step, src_channel = src
    dst_kind, dst_item, dst_address, dst_step, dst_channel = dst
    interleaved = dst_step == 3 and dst_channel == 1
    as_it_is = interleaved and dst_item == pool.itemsize
    src_spread = 64 if src_step == 3 and src_channel == 1 else src_channel * src_item
    dst_spread = 64 if interleaved else dst_channel * dst_item
    src_step_bytes, dst_step_bytes = src_step * src_item, dst_step * dst_item
    for at in range(start, stop, BLOCK_PIXELS):
        count = min(BLOCK_PIXELS, stop - at)
        reads, writes = src_address + at * src_step_bytes, dst_address + at * dst_step_bytes
        ahead = (
            reads + 2 * BLOCK_PIXELS * src_step_bytes, src_step_bytes, src_spread,
            writes, dst_step_bytes, dst_spread,
        )  # fmt: skip
        moved = False
        if count < BLOCK_PIXELS:
            planes[:] = 0  # what lies past the last pixel is computed too, and let go
        _load(src_kind, reads, src_step, src_channel, count, planes)
        for k in range(steps):
            op = ops[k]
            if op[0] == MATRIX:
                matrix(planes, params[k])
            elif op[0] == CLAMP:
                clamp(planes, params[k])
            elif op[0] == POWER:
                power(planes, params[k])
            elif op[0] == CURVE:
                curve(planes, pool, op, params[k], work, ahead)
            else:
                moved = k == steps - 1 and as_it_is and count == BLOCK_PIXELS
                _lattice(planes, pool, op, params[k], work, quads, 3 if moved else 4, ahead)
                if moved:
                    _move(quads, writes)
                else:
                    for i in range(0, BLOCK_PIXELS, 8):
                        planes_of_8(quads, planes, i)
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
    _run.__qualname__ = kept_name(number.name)
    return compiled(
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
        **OPTIONS,
    )


def where(pixels: Any) -> tuple[int, int, int, int, int]:
    """What `_run` wants to know of an array of shape (pixels, 3)."""
    item = pixels.itemsize
    step, channel = (stride // item for stride in pixels.strides)
    address = pixels.__array_interface__["data"][0]
    return TYPES.index(pixels.dtype.name), item, address, step, channel
