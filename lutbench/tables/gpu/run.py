"""A chain of steps over pixels on a device, in one pass and on the array's own stream.

A kernel takes less time than Python needs to prepare it, so launches are cached: the same
chain for arrays of the same make is launched again immediately.
"""

from __future__ import annotations

import threading
import weakref
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Transform
from lutbench.tables.gpu.arrays import Borrowed, cupy, look, on_stream
from lutbench.tables.gpu.prepare import prepare
from lutbench.tables.gpu.source import GROUP_BYTES, SIZES, THREADS, Shape, write
from lutbench.tables.programs import code_peak, plan

TYPES = tuple(SIZES)
REMEMBERED = 256
"""Launches that are cached, each a few hundred bytes."""


class PixelOptions(NamedTuple):
    """How pixels are read and the result is written; see `apply_pixels`."""

    dtype: Any = None
    bits: int | None = None
    out_bits: int | None = None
    planar: bool = False


AS_IT_IS = PixelOptions()


class Codes(NamedTuple):
    """The codes of signal 1.0 in the input and in the output."""

    peak: float
    out_peak: float


@dataclass(frozen=True, eq=False)
class Launch:
    """A kernel with all its arguments except the two addresses."""

    kernel: Any
    blocks: int
    tail: tuple[Any, ...]

    def __call__(self, source: int, target: int, stream: Any = None) -> None:
        if self.blocks:  # CUDA refuses a grid without blocks
            arguments = (source, target, *self.tail)
            self.kernel((self.blocks,), (THREADS,), arguments, stream=stream)


def apply_on_device(
    transforms: Sequence[Transform], pixels: Any, out: Any = None, options: PixelOptions = AS_IT_IS
) -> Any:
    """`apply_pixels` for an array on a CUDA device.

    The result is an array of the same library, device and stream; the call does not wait for
    it. Errors are those of `apply_pixels`.
    """
    source = look(pixels)
    target = None if out is None else look(out)
    if source is None or (target is None and out is not None) or options.dtype is not None:
        return _apply(transforms, pixels, out, options)
    key = (*map(id, transforms), source.make, None if target is None else target.make, options)
    known = _launches.get(key)
    if known is not None and all(ref() is each for ref, each in zip(known.of, transforms)):  # noqa: B905
        result = out
        if target is None:
            result = source.empty()
            target = look(result)
        # A new array may be aligned differently from the one that the kernel was chosen for.
        if target is not None and target.make == known.target and _apart(source, target):
            known.launch(source.address, target.address, source.stream)
            return result
    return _apply(transforms, pixels, out, options, key)


def _apart(source: Any, target: Any) -> bool:
    """Whether two arrays are the same array, or share no memory."""
    if source.address == target.address:
        return bool(source.make == target.make)
    return bool(
        source.end is not None
        and target.end is not None
        and (source.end <= target.address or target.end <= source.address)
    )


def _apply(
    transforms: Sequence[Transform], pixels: Any, out: Any, options: PixelOptions, key: Any = None
) -> Any:
    """`apply_on_device` for the first time; the launch is cached under `key`."""
    with on_stream(pixels):
        source = Borrowed(pixels)
        kind = source.view.dtype
        _check(kind.name, "pixels")
        if out is None:
            wanted = np.dtype(kind if options.dtype is None else options.dtype)
            _check(wanted.name, "dtype")
            target = source.empty(wanted)
        else:
            target = Borrowed(out, "out")
            _check_out(source, target, options.dtype)
        axis = 0 if options.planar else -1
        if source.view.ndim == 0 or source.view.shape[axis] != 3:
            raise LutbenchError(
                f"an array of shape {source.view.shape} is not R G B",
                accepted=f"a {'first' if options.planar else 'last'} axis of length 3",
            )
        out_bits = options.out_bits
        if out_bits is None and target.view.dtype == kind:
            out_bits = options.bits
        codes = Codes(code_peak(kind, options.bits), code_peak(target.view.dtype, out_bits))
        view, into = source.view, target.view
        if options.planar:
            cp = cupy()
            view, into = cp.moveaxis(view, 0, -1), cp.moveaxis(into, 0, -1)
        done = launch(transforms, view, into, codes)
        result = target.result() if out is None else out
    if key is not None and done is not None:
        _remember(key, transforms, done, result)
    return result


def launch(
    transforms: Sequence[Transform], source: Any, target: Any, codes: Codes
) -> Launch | None:
    """Apply the chain to a CuPy array, shape (..., 3), on the current stream; result in `target`.

    Returns the launch if it can be used again for arrays of the same make, else None.
    """
    cp = cupy()
    src, dst = source.reshape(-1, 3), target.reshape(-1, 3)
    as_they_lie = cp.may_share_memory(src, source) and cp.may_share_memory(dst, target)
    if cp.may_share_memory(src, dst) and not _same_place(src, dst):
        src, as_they_lie = src.copy(), False
    found = _launch_of(transforms, src, dst, codes)
    found(src.data.ptr, dst.data.ptr)
    if not cp.may_share_memory(dst, target):  # no one stride leads through `target`
        target[...] = dst.reshape(target.shape)
    return found if as_they_lie else None


def _launch_of(transforms: Sequence[Transform], src: Any, dst: Any, codes: Codes) -> Launch:
    names = src.dtype.name, dst.dtype.name
    number = "float64" if "float64" in names else "float32"
    ready = prepare(plan(transforms), number, codes.peak, names)
    group = GROUP_BYTES // max(src.itemsize, dst.itemsize)
    layouts = [_layout(each, group) for each in (src, dst)]
    if "strided" in layouts:
        layouts = ["strided", "strided"]
    shape = Shape(ready.steps, number, *names, *layouts)
    threads = -(-len(src) // shape.pixels)
    peak = np.dtype(number).type(codes.out_peak)
    tail = (len(src), *src.strides, *dst.strides, peak, 0.5 / peak, ready.params, *ready.tables)
    return Launch(_kernel(shape), -(-threads // THREADS), tail)


def _layout(pixels: Any, group: int) -> str:
    """The memory layout of pixels: packed or planar if groups can be read in whole words."""
    item, width = pixels.itemsize, group * pixels.itemsize
    step, channel = pixels.strides
    if pixels.data.ptr % width == 0:
        if (step, channel) == (3 * item, item):
            return "packed"
        if step == item and channel % width == 0:
            return "planar"
    return "strided"


def _same_place(one: Any, other: Any) -> bool:
    return bool(
        one.dtype == other.dtype and one.strides == other.strides and one.data.ptr == other.data.ptr
    )


def _check(name: str, where: str) -> None:
    if name not in TYPES:
        raise LutbenchError(
            f"{name} is not a type of pixels", where=where, accepted=", ".join(TYPES)
        )


def _check_out(source: Borrowed, target: Borrowed, dtype: Any) -> None:
    found = target.view.dtype
    _check(found.name, "out")
    if target.view.shape != source.view.shape or (dtype is not None and found != np.dtype(dtype)):
        raise LutbenchError(
            f"the result is {found} of shape {target.view.shape}",
            accepted=f"{np.dtype(dtype or found)} of shape {source.view.shape}",
        )
    if target.view.device != source.view.device:
        raise LutbenchError(
            f"the result is on {target.view.device}", accepted=f"{source.view.device}"
        )


# -- The cache of launches ------------------------------------------------------


class _Known(NamedTuple):
    of: list[weakref.ref[Transform]]
    launch: Launch
    target: Any  # the make of the result that it was launched for


_lock = threading.Lock()
_launches: OrderedDict[Any, _Known] = OrderedDict()
_kernels: dict[tuple[Shape, int], Any] = {}


def _remember(key: Any, transforms: Sequence[Transform], done: Launch, result: Any) -> None:
    made = look(result)
    if made is None:
        return

    def forget(_: object) -> None:  # the tables on the device go with their LUT
        _launches.pop(key, None)

    with _lock:
        _launches[key] = _Known([weakref.ref(each, forget) for each in transforms], done, made.make)
        while len(_launches) > REMEMBERED:
            _launches.popitem(last=False)


def _kernel(shape: Shape) -> Any:
    cp = cupy()
    key = (shape, int(cp.cuda.runtime.getDevice()))
    found = _kernels.get(key)
    if found is None:
        module = cp.RawModule(code=write(shape), options=("--std=c++14",))
        found = _kernels[key] = module.get_function("run").kernel
    return found
