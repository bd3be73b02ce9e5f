"""Apply any transform to pixels, with the compiled kernel where possible.

The kernel handles LUTs, matrices, saturation, clamps, CDLs, and chains of them, for uint8,
uint16, float16 and float32. It works block by block in the cache, so a chain reads and
writes every pixel once, whatever its length. Everything else is computed by the model in
float64, step by step in numpy, in blocks that stay in the cache. Float64 pixels are computed
by the model too, except for LUTs only, which the kernel computes in float64.

Values outside a domain are clamped to it. A lattice gives NaN in all three channels for NaN
in any; a curve gives NaN in the channel that has it. Any leading shape and any strides are
accepted, also read-only arrays. An array of uint8 or uint16 has codes of the full range (255
or 65535 is 1.0), and so has the result, rounded to the nearest. The result has the same bits
for any number of threads, any layout, and any split of the pixels into several calls.

The compiled kernel is loaded only when it is worth it: starting numba takes as long as numpy
takes for some millions of pixels, and compiling takes longer. So the first pixels of a
process are computed in numpy, with the same bits (see docs/performance.md).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.given import NOT_AN_ARRAY, flag, text, whole
from lutbench.long_work import parallel_for, thread_limit
from lutbench.model.transforms import Transform, steps_of
from lutbench.tables import plain
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.programs import (
    TYPES,
    Program,
    Step,
    can_apply,
    code_peak,
    listed,
    plan,
    program,
)

ACCEPTED = "uint8 or uint16 codes, or floats of signal"

BLOCK_PIXELS = 1 << 16
"""Pixels that numpy computes at a time: 1.5 MiB of float64."""

FEW = {"float32": 3_000_000, "float64": 20_000_000}
"""Pixels that numpy computes in the time that numba takes to start. The number for float64 is
higher, since the model computes in it and pictures seldom have it, and compiling its kernel takes
many seconds."""

NOT_KEPT = {"float32": 25, "float64": 5}
"""Factor on that number if no earlier process has compiled the kernel: numpy takes as long for so
many pixels as the compiler, some five seconds, so smaller work never waits for it."""

CHUNKS = (1 << 15, 1 << 19)
"""Smallest and largest number of pixels that a thread processes at a time."""


def apply(
    transform: Transform, rgb: ArrayLike, out: NDArray[Any] | None, threads: int | None
) -> NDArray[Any]:
    """The implementation of `Transform.apply`, which documents it."""
    if not isinstance(rgb, np.ndarray) and on_device(rgb):
        from lutbench.tables.gpu.run import apply_on_device

        return apply_on_device([transform], rgb, out)  # type: ignore[no-any-return]
    limit = thread_limit(threads)
    pixels = as_pixels(rgb)
    result = _result(pixels, pixels.dtype, out)
    lut = all(isinstance(step, Lut1D | Lut3D | ShaperLut3D) for step in steps_of(transform))
    if lut or (pixels.dtype != np.float64 and can_apply(transform)):
        peak = code_peak(pixels.dtype)
        run_steps(plan(transform), pixels, result, peak=peak, out_peak=peak, threads_wanted=limit)
    elif out is None and pixels.dtype == np.float64 and pixels.size <= 3 * BLOCK_PIXELS:
        return _by_steps(transform, pixels, limit)
    else:
        _in_blocks(transform, pixels, result, limit)
    return result


def as_pixels(rgb: ArrayLike) -> NDArray[Any]:
    """`rgb` as an array of one of `TYPES`, R G B on its last axis.

    Raises
    ------
    LutbenchError
        When it is not an array of numbers, its last axis has not length 3, or it has an
        integer type other than uint8 and uint16.
    """
    try:
        array = np.asarray(rgb)
    except NOT_AN_ARRAY as error:
        raise LutbenchError(f"is not an array of R G B: {error}", accepted=ACCEPTED) from error
    if array.dtype.name not in TYPES:
        # Integers in a list are signal, such as [1, 0, 0]; the type of an array counts.
        plain = array.dtype.kind in "iu" and not hasattr(rgb, "__array__")
        if array.dtype.kind != "f" and not plain:
            raise LutbenchError(f"an array of {array.dtype} is not R G B", accepted=ACCEPTED)
        array = array.astype(np.float64)
    if array.ndim == 0 or array.shape[-1] != 3:
        raise LutbenchError(
            f"an array of shape {array.shape} is not R G B", accepted="a last axis of length 3"
        )
    return array


def _by_steps(transform: Transform, rgb: NDArray[np.float64], limit: int) -> NDArray[np.float64]:
    """The steps one after the other in float64."""
    # Numbers of a file may be huge: an overflow is infinite, and needs no warning.
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for step in steps_of(transform):
            if isinstance(step, Lut1D | Lut3D | ShaperLut3D):
                after = np.empty(rgb.shape)
                run_steps(plan(step), rgb, after, peak=1.0, out_peak=1.0, threads_wanted=limit)
                rgb = after
            else:
                rgb = np.asarray(step._apply(rgb))
    return rgb


def _in_blocks(transform: Transform, pixels: NDArray[Any], out: NDArray[Any], limit: int) -> None:
    source, target = flat_pixels(pixels), flat_pixels(out)
    if np.may_share_memory(source, target) and not same_place(source, target):
        source = source.copy()
    peak = code_peak(pixels.dtype)
    for start in range(0, len(source), BLOCK_PIXELS):
        signal = source[start : start + BLOCK_PIXELS].astype(np.float64) / peak
        signal = _by_steps(transform, signal, limit)
        if pixels.dtype.kind == "u":
            signal = np.floor(np.clip(np.nan_to_num(signal, nan=0.0), 0, 1) * peak + 0.5)
        with np.errstate(over="ignore"):  # of float32
            target[start : start + BLOCK_PIXELS] = signal
    if not np.may_share_memory(target, out):  # `out` could not be flattened without a copy
        out[...] = target.reshape(out.shape)


def apply_pixels(
    steps: Transform | Iterable[Transform],
    pixels: ArrayLike,
    *,
    dtype: DTypeLike | None = None,
    bits: int | None = None,
    out_bits: int | None = None,
    planar: bool = False,
    out: NDArray[Any] | None = None,
    threads: int | None = None,
    device: str | None = None,
) -> NDArray[Any]:
    """Apply steps to pixels in one pass, float or integer in and out.

    Parameters
    ----------
    steps
        One transform or several, first to last: `Lut1D`, `Lut3D`,
        `ShaperLut3D`, `Matrix`, `Saturation`, `Clamp`, `Cdl` and its inverse, and
        pipelines of them. Sample any other transform into a LUT first.
    pixels
        Shape (..., 3), or (3, ...) with `planar`; uint8, uint16, float16, float32
        or float64. Any strides are accepted, so ``rgba[..., :3]`` needs no copy.
        Integers are codes of the full range: 1.0 is code 2**bits − 1.
    dtype
        The type of the result. Default: that of the pixels. Floats are not clipped;
        integers are rounded to the nearest (halves up) and clipped to the range of
        codes, and NaN becomes 0.
    bits, out_bits
        Bit depth of the codes in an integer array, such as 10 in uint16. Default: that of
        the type; `out_bits` is by default `bits` if the type stays the same.
    planar
        Whether the channels are on the first axis, in pixels and result.
    out
        The array for the result, with the shape of the pixels and any strides; it may be
        `pixels` itself.
    threads
        The largest number of threads. Default: ``LUTBENCH_THREADS``, else the usable cores.
    device
        ``"cuda"`` streams an array of this machine's memory through all CUDA devices,
        ``"cuda:0"`` through one. It is not needed for pixels on a device (of CuPy, torch,
        JAX, or another library with DLPack or the CUDA array interface): they are processed
        there, on their library's current stream, and the result is of the same library.
        Both need CuPy (``lutbench[gpu]``).

    Returns
    -------
    ndarray
        `out`, or a new array.

    Raises
    ------
    LutbenchError
        When a step, a type or a shape is not one of the above.

    Examples
    --------
    >>> from lutbench.model.transforms import Matrix
    >>> half = Matrix(((0.5, 0, 0), (0, 0.5, 0), (0, 0, 0.5)))
    >>> apply_pixels([half], np.array([[10, 101, 255]], np.uint8)).tolist()
    [[5, 51, 128]]
    """
    transforms = listed(steps)
    planar = flag(planar, "planar")
    device = None if device is None else text(device, "device")
    if not isinstance(pixels, np.ndarray) and on_device(pixels):
        from lutbench.tables.gpu.run import PixelOptions, apply_on_device

        options = PixelOptions(dtype, bits, out_bits, planar)
        return apply_on_device(transforms, pixels, out, options)  # type: ignore[no-any-return]
    chain = plan(transforms)
    source = _source(pixels, as_signal=out is None and dtype is None)
    result = _result(source, dtype, out)
    if out_bits is None and result.dtype == source.dtype:
        out_bits = bits
    if source.ndim == 0 or source.shape[0 if planar else -1] != 3:
        place = "first" if planar else "last"
        raise LutbenchError(
            f"an array of shape {source.shape} is not R G B",
            accepted=f"a {place} axis of length 3",
        )
    peak, out_peak = _peak(source.dtype, bits, "bits"), _peak(result.dtype, out_bits, "out_bits")
    src = np.moveaxis(source, 0, -1) if planar else source
    dst = np.moveaxis(result, 0, -1) if planar else result
    if device is not None:
        from lutbench.tables.gpu.host import On, apply_from_host, named_devices
        from lutbench.tables.gpu.run import Codes

        on = On(named_devices(device), threads)
        apply_from_host(transforms, src, dst, Codes(peak, out_peak), on)
    else:
        run_steps(chain, src, dst, peak=peak, out_peak=out_peak, threads_wanted=threads)
    return result


def _source(pixels: ArrayLike, *, as_signal: bool) -> NDArray[Any]:
    """The pixels as an array; with `as_signal`, numbers of other types become float64."""
    try:
        source = np.asarray(pixels)
        if source.dtype.kind == "c":
            raise TypeError("complex numbers")
        if source.dtype.name not in TYPES and as_signal:
            source = source.astype(np.float64)
    except NOT_AN_ARRAY as error:
        raise LutbenchError(f"is not an array of R G B: {error}", where="pixels") from error
    _check_type(source.dtype, "pixels")
    return source


def _result(source: NDArray[Any], dtype: DTypeLike | None, out: Any) -> NDArray[Any]:
    """The array for the result: `out`, checked, or a new array."""
    if out is None:
        return np.empty(source.shape, _check_type(source.dtype if dtype is None else dtype))
    if not isinstance(out, np.ndarray):
        raise LutbenchError(f"out is a {type(out).__name__}", accepted="a numpy array")
    _check_type(out.dtype, "out")
    if out.shape != source.shape or (dtype is not None and out.dtype != np.dtype(dtype)):
        raise LutbenchError(
            f"the result is {out.dtype} of shape {out.shape}",
            accepted=f"{np.dtype(dtype or out.dtype)} of shape {source.shape}",
        )
    if not out.flags.writeable:
        raise LutbenchError("the array for the result is read-only", accepted="a writable one")
    return out


def on_device(pixels: Any) -> bool:
    """Whether pixels that are not numpy arrays are on a CUDA device."""
    kind = type(pixels)
    if not (hasattr(kind, "__dlpack_device__") or hasattr(kind, "__cuda_array_interface__")):
        return False
    from lutbench.tables.gpu.arrays import is_on_device

    return is_on_device(pixels)


def _check_type(dtype: DTypeLike, where: str = "dtype") -> np.dtype[Any]:
    try:
        found = np.dtype(dtype)
    except (TypeError, ValueError, OverflowError):
        raise LutbenchError(
            f"{dtype!r:.60} is not a type of pixels", where=where, accepted=", ".join(TYPES)
        ) from None
    if found.name not in TYPES:
        raise LutbenchError(
            f"{found} is not a type of pixels", where=where, accepted=", ".join(TYPES)
        )
    return found


def _peak(dtype: np.dtype[Any], bits: int | None, where: str) -> float:
    most = 8 * dtype.itemsize
    if bits is not None and dtype.kind == "u":
        whole(bits, where, 1, most)
    return code_peak(dtype, bits)


def run_steps(
    steps: Sequence[Step],
    pixels: NDArray[Any],
    out: NDArray[Any],
    *,
    peak: float,
    out_peak: float,
    threads_wanted: int | None = None,
) -> None:
    """Apply the steps to `pixels` and write the result to `out`; both (..., 3), any strides.

    `peak` and `out_peak` are the codes of 1.0 in each. `out` may be `pixels` itself. The
    computation is in float64 if one of them is float64, else in float32.
    """
    limit = thread_limit(threads_wanted)
    number = np.result_type(np.float32, *(a.dtype for a in (pixels, out) if a.dtype.kind == "f"))
    prepared = program(steps, number, peak)
    src, dst = flat_pixels(pixels), flat_pixels(out)
    if np.may_share_memory(src, dst) and not same_place(src, dst):
        src = src.copy()
    if _is_few(len(src), number):
        _by_plain(prepared, src, dst, out_peak, limit)
    else:
        _run(prepared, src, dst, out_peak, limit)
    if not np.may_share_memory(dst, out):  # `out` could not be flattened without a copy
        out[...] = dst.reshape(out.shape)


_by_numpy = dict.fromkeys(FEW, 0)  # pixels computed in numpy so far


def _is_few(pixels: int, number: np.dtype[Any]) -> bool:
    """Whether numpy is faster than waiting for the kernel; counts the pixels as computed."""
    # While another thread imports the module, it is present but still empty.
    is_loaded = getattr(sys.modules.get("lutbench.tables.kernels"), "is_loaded", None)
    done = _by_numpy[number.name] + pixels
    few = FEW[number.name]
    if done > few * NOT_KEPT[number.name] or (is_loaded is not None and is_loaded(number)):
        return False
    if done > few:
        from lutbench.tables.kept_code import is_kept

        if is_kept(number.name):
            return False
    _by_numpy[number.name] = done  # a lost update between two threads does no harm
    return True


def flat_pixels(pixels: NDArray[Any]) -> NDArray[Any]:
    """The pixels in shape (n, 3): a view if one stride leads from pixel to pixel, else a copy."""
    if not pixels.flags.aligned or not pixels.dtype.isnative:
        pixels = pixels.astype(pixels.dtype.newbyteorder("="), order="K")
    flat = pixels.reshape(-1, 3)
    if any(stride % flat.itemsize for stride in flat.strides):
        flat = np.ascontiguousarray(flat)
    return flat


def same_place(one: NDArray[Any], other: NDArray[Any]) -> bool:
    """Whether two arrays have the same pixels in the same memory."""
    return (
        one.dtype == other.dtype
        and one.strides == other.strides
        and one.__array_interface__["data"][0] == other.__array_interface__["data"][0]
    )


def _by_plain(
    prepared: Program, src: NDArray[Any], dst: NDArray[Any], out_peak: float, limit: int
) -> None:
    """Apply the program to all pixels in numpy, on at most `limit` threads."""

    def work(start: int, stop: int) -> None:
        plain.run(src[start:stop], dst[start:stop], prepared, out_peak)

    parallel_for(work, len(src), CHUNKS[0], limit)


def _run(
    prepared: Program, src: NDArray[Any], dst: NDArray[Any], out_peak: float, limit: int
) -> None:
    """Apply the program to all pixels with the compiled kernel, on at most `limit` threads."""
    from lutbench.tables import kernels

    kernel = kernels.runner(prepared.dtype)
    here, there = kernels.where(src), kernels.where(dst)
    arguments = (here, there, prepared.ops, prepared.params, prepared.pool, out_peak)

    def work(start: int, stop: int) -> None:
        kernel(*arguments, start, stop)

    parallel_for(work, len(src), _chunk(len(src), limit), limit)


def _chunk(pixels: int, limit: int) -> int:
    """Pixels that a thread processes at a time: a few chunks per thread, in whole blocks.

    Small chunks distribute the work more evenly. With large ones it is less likely that two
    threads clear the same large page of a new result.
    """
    least, most = CHUNKS
    return min(most, max(least, -(-pixels // (4 * limit * least)) * least))
