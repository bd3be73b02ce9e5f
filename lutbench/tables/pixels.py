"""Any transform over pixels: one set of rules, and the compiled kernel wherever it can be.

What the kernel knows (LUTs, matrices, saturation, clamps, CDLs, and chains of them)
runs compiled for uint8, uint16, float16 and float32, block by block while the block is in the
cache, so that a chain reads and writes every pixel once, whatever its length. All else is
the model: float64, step by step in numpy, in blocks that stay in the cache. Float64 pixels
are the model's too, except those of LUTs alone, which the kernel does in float64.

Values outside a domain are clamped to it. A lattice gives NaN in all three
channels for NaN in any; a curve gives NaN in the channel that has it.
Any leading shape and any strides are taken, read-only arrays too. An array of
uint8 or uint16 holds codes of the full range (255 or 65535 is 1.0), and so does
the result, rounded to nearest. The result has the same bits for any number of
threads, any layout, and any split of the pixels into several calls.

The compiled kernel is loaded when it pays: starting numba takes as long as
numpy takes for some millions of pixels, compiling it as long as for many more, so the
first of a process are done in numpy, to the same bits (see docs/performance.md).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.given import flag, text, whole
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
from lutbench.tables.threads import share, thread_limit

ACCEPTED = "uint8 or uint16 codes, or floats of signal"

BLOCK = 1 << 16
"""Pixels at a time in numpy: 1.5 MiB of float64."""

FEW = {"float32": 3_000_000, "float64": 20_000_000}
"""Pixels that numpy does in the time that numba takes to start. Float64 is what the model computes
in, seldom a picture: its kernel is left alone for longer, since a machine that has not compiled it
yet spends many seconds on it."""

NOT_KEPT = {"float32": 25, "float64": 5}
"""How many times as many, where no earlier process has compiled the kernel: numpy then takes
as long as the compiler would, some five seconds, and whoever has less to do never waits."""

CHUNKS = (1 << 15, 1 << 19)
"""Pixels that a thread takes at a time, at least and at most."""


def apply(
    transform: Transform, rgb: ArrayLike, out: NDArray[Any] | None, threads: int | None
) -> NDArray[Any]:
    """`Transform.apply`, whose text says what goes in and comes out."""
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
    elif out is None and pixels.dtype == np.float64 and pixels.size <= 3 * BLOCK:
        return _by_steps(transform, pixels, limit)
    else:
        _in_blocks(transform, pixels, result, limit)
    return result


def as_pixels(rgb: ArrayLike) -> NDArray[Any]:
    """`rgb` as an array of one of `TYPES`, R G B on its last axis.

    Raises
    ------
    LutbenchError
        When it is not an array of numbers, its last axis is not three long, or it is an
        array of whole numbers of a type that says no range of codes.
    """
    try:
        array = np.asarray(rgb)
    except (TypeError, ValueError) as error:
        raise LutbenchError(f"is not an array of R G B: {error}", accepted=ACCEPTED) from error
    if array.dtype.name not in TYPES:
        # Numbers in a list are signal, [1, 0, 0] too; an array was given its type.
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
    # Numbers of a file may be huge: what overflows is infinite, and no warning to a user.
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
    for start in range(0, len(source), BLOCK):
        signal = source[start : start + BLOCK].astype(np.float64) / peak
        signal = _by_steps(transform, signal, limit)
        if pixels.dtype.kind == "u":
            signal = np.floor(np.clip(np.nan_to_num(signal, nan=0.0), 0, 1) * peak + 0.5)
        with np.errstate(over="ignore"):  # of float32
            target[start : start + BLOCK] = signal
    if not np.may_share_memory(target, out):  # no one stride leads through `out`
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
        or float64. Any strides, so that ``rgba[..., :3]`` is taken as it is.
        Integers are codes of the full range: 1.0 is code 2**bits − 1.
    dtype
        The type of the result; that of the pixels where not given. Floats are
        not held to 0..1; integers are rounded to nearest, halves up, and held
        to the codes there are, and NaN becomes 0.
    bits, out_bits
        Bits a code has in an integer array, such as 10 in uint16; all of the
        type where not given. `out_bits` follows `bits` where the type stays.
    planar
        The channels are on the first axis, of the pixels and the result.
    out
        Where to put the result, in place of a new array: of the shape of the
        pixels, any strides; it may be `pixels` itself.
    threads
        The most threads that work on it; None: ``LUTBENCH_THREADS``, else the usable cores.
    device
        ``"cuda"`` streams an array of this machine's memory through all CUDA devices,
        ``"cuda:0"`` through one. Pixels that live on a device (of CuPy, torch, JAX, or
        whatever speaks DLPack or the CUDA array interface) are worked on there without
        it, on their library's current stream; the result is of the same
        library. Both need CuPy (``lutbench[gpu]``).

    Returns
    -------
    ndarray
        `out`, or a new array.

    Raises
    ------
    LutbenchError
        When a step or a type is none of the above, or a shape does not fit.

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
        from lutbench.tables.gpu.run import Wish, apply_on_device

        wish = Wish(dtype, bits, out_bits, planar)
        return apply_on_device(transforms, pixels, out, wish)  # type: ignore[no-any-return]
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
    """The pixels as an array; `as_signal` takes numbers of other types as float64."""
    try:
        source = np.asarray(pixels)
        if source.dtype.kind == "c":
            raise TypeError("complex numbers")
        if source.dtype.name not in TYPES and as_signal:
            source = source.astype(np.float64)
    except (TypeError, ValueError) as error:
        raise LutbenchError(f"is not an array of R G B: {error}", where="pixels") from error
    _check_type(source.dtype, "pixels")
    return source


def _result(source: NDArray[Any], dtype: DTypeLike | None, out: Any) -> NDArray[Any]:
    """Where the result goes: `out` if it fits, else a new array."""
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
    """Whether pixels that are not numpy arrays live on a CUDA device."""
    kind = type(pixels)
    if not (hasattr(kind, "__dlpack_device__") or hasattr(kind, "__cuda_array_interface__")):
        return False
    from lutbench.tables.gpu.arrays import is_on_device

    return is_on_device(pixels)


def _check_type(dtype: DTypeLike, where: str = "dtype") -> np.dtype[Any]:
    try:
        found = np.dtype(dtype)
    except (TypeError, ValueError):
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
    """Run the steps over `pixels` into `out`, both of shape (..., 3) and any strides.

    `peak` and `out_peak` say what 1.0 is in either. `out` may be `pixels`
    itself. The work is done in float64 where one of them is float64, else in
    float32.
    """
    limit = thread_limit(threads_wanted)
    number = np.result_type(np.float32, *(a.dtype for a in (pixels, out) if a.dtype.kind == "f"))
    laid = program(steps, number, peak)
    src, dst = flat_pixels(pixels), flat_pixels(out)
    if np.may_share_memory(src, dst) and not same_place(src, dst):
        src = src.copy()
    if _is_few(len(src), number):
        _by_plain(laid, src, dst, out_peak, limit)
    else:
        _run(laid, src, dst, out_peak, limit)
    if not np.may_share_memory(dst, out):  # no one stride leads through `out`
        out[...] = dst.reshape(out.shape)


_by_numpy = dict.fromkeys(FEW, 0)  # pixels done in numpy so far


def _is_few(pixels: int, number: np.dtype[Any]) -> bool:
    """Whether numpy is done before the kernel is there; counts the pixels as done."""
    # While another thread imports the module, it is there and yet empty.
    is_loaded = getattr(sys.modules.get("lutbench.tables.kernels"), "is_loaded", None)
    done = _by_numpy[number.name] + pixels
    few = FEW[number.name]
    if done > few * NOT_KEPT[number.name] or (is_loaded is not None and is_loaded(number)):
        return False
    if done > few:
        from lutbench.tables.kept_code import is_kept

        if is_kept(number.name):
            return False
    _by_numpy[number.name] = done  # a count lost between two threads does no harm
    return True


def flat_pixels(pixels: NDArray[Any]) -> NDArray[Any]:
    """Shape (pixels, 3): a view wherever one stride leads from pixel to pixel, else a copy."""
    if not pixels.flags.aligned or not pixels.dtype.isnative:
        pixels = pixels.astype(pixels.dtype.newbyteorder("="), order="K")
    flat = pixels.reshape(-1, 3)
    if any(stride % flat.itemsize for stride in flat.strides):
        flat = np.ascontiguousarray(flat)
    return flat


def same_place(one: NDArray[Any], other: NDArray[Any]) -> bool:
    """Whether two arrays are the same pixels in the same memory."""
    return (
        one.dtype == other.dtype
        and one.strides == other.strides
        and one.__array_interface__["data"][0] == other.__array_interface__["data"][0]
    )


def _by_plain(
    laid: Program, src: NDArray[Any], dst: NDArray[Any], out_peak: float, limit: int
) -> None:
    """The same in numpy."""

    def work(start: int, stop: int) -> None:
        plain.run(src[start:stop], dst[start:stop], laid, out_peak)

    share(work, len(src), CHUNKS[0], limit)


def _run(laid: Program, src: NDArray[Any], dst: NDArray[Any], out_peak: float, limit: int) -> None:
    """The compiled kernel over all pixels, on at most `limit` threads."""
    from lutbench.tables import kernels

    kernel = kernels.runner(laid.dtype)
    here, there, pool = kernels.where(src), kernels.where(dst), laid.pool

    def work(start: int, stop: int) -> None:
        kernel(here, there, laid.ops, laid.params, pool, out_peak, start, stop)

    share(work, len(src), _chunk(len(src), limit), limit)


def _chunk(pixels: int, limit: int) -> int:
    """Pixels a thread takes at a time: a few chunks a thread, each a multiple of a block.

    Small chunks share the work out more evenly. Large ones keep two threads
    from clearing the same large page of a new result, which is done twice then.
    """
    least, most = CHUNKS
    return min(most, max(least, -(-pixels // (4 * limit * least)) * least))
