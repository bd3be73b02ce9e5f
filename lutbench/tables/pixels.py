"""A chain of steps over pixels in one pass: LUTs, matrices, clamps and CDLs.

The steps run block by block while the block is in the cache, so that a chain
reads and writes every pixel once, whatever its length.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.given import flag, text, whole
from lutbench.model.grade import Cdl, CdlInverse, Saturation
from lutbench.model.transforms import Clamp, Matrix, Transform, steps_of
from lutbench.tables.interpolation import code_peak, run_steps
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.programs import (
    CURVE,
    LATTICES,
    Step,
    clamp_step,
    matrix_step,
    power_step,
    table_step,
)

TYPES = ("uint8", "uint16", "float32", "float64")


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
        Shape (..., 3), or (3, ...) with `planar`; uint8, uint16, float32 or
        float64. Any strides, so that ``rgba[..., :3]`` is taken as it is.
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
        At most so many threads; None: ``LUTBENCH_THREADS``, else the usable cores.
    device
        ``"cuda"`` streams an array of this machine's memory through all CUDA devices,
        ``"cuda:0"`` through one. Pixels that live on a device (of CuPy, torch, JAX, or
        whatever speaks DLPack or the CUDA array interface) are worked on there without
        it, on their library's current stream, float16 too; the result is of the same
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
    >>> half = Matrix(((0.5, 0, 0), (0, 0.5, 0), (0, 0, 0.5)))
    >>> apply_pixels([half], np.array([[10, 101, 255]], np.uint8)).tolist()
    [[5, 51, 128]]
    """
    transforms = _listed(steps)
    planar = flag(planar, "planar")
    device = None if device is None else text(device, "device")
    if not isinstance(pixels, np.ndarray) and on_device(pixels):
        from lutbench.tables.gpu.run import Wish, apply_on_device

        wish = Wish(dtype, bits, out_bits, planar)
        return apply_on_device(transforms, pixels, out, wish)  # type: ignore[no-any-return]
    chain = plan(transforms)
    try:
        source = np.asarray(pixels)
        if source.dtype.kind == "c":
            raise TypeError("complex numbers")
        if source.dtype.name not in TYPES and out is None and dtype is None:
            source = source.astype(np.float64)
    except (TypeError, ValueError) as error:
        raise LutbenchError(f"is no array of R G B: {error}", where="pixels") from error
    _check_type(source.dtype, "pixels")
    if out is None:
        result = np.empty(source.shape, _check_type(source.dtype if dtype is None else dtype))
    else:
        if not isinstance(out, np.ndarray):
            raise LutbenchError(f"out is a {type(out).__name__}", accepted="a numpy array")
        result = out
        _check_type(out.dtype, "out")
        if out.shape != source.shape or (dtype is not None and out.dtype != np.dtype(dtype)):
            raise LutbenchError(
                f"the result is {out.dtype} of shape {out.shape}",
                accepted=f"{np.dtype(dtype or out.dtype)} of shape {source.shape}",
            )
        if not out.flags.writeable:
            raise LutbenchError("the array for the result is read-only", accepted="a writable one")
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


def on_device(pixels: Any) -> bool:
    """Whether pixels that are no numpy array live on a CUDA device."""
    from lutbench.tables.gpu.arrays import is_on_device

    return is_on_device(pixels)


def can_apply(transform: Transform) -> bool:
    """Whether `apply_pixels` takes the transform as it is."""
    try:
        plan(transform)
    except LutbenchError:
        return False
    return True


def plan(steps: Transform | Iterable[Transform]) -> list[Step]:
    """The kernel steps of one transform or several.

    Raises
    ------
    LutbenchError
        For a transform that is none of those `apply_pixels` takes.
    """
    transforms = _listed(steps)
    return [step for each in transforms for part in steps_of(each) for step in _kernel_steps(part)]


def _listed(steps: Transform | Iterable[Transform]) -> list[Transform]:
    try:
        listed = [steps] if isinstance(steps, Transform) else list(steps)
    except TypeError:
        listed = [steps]  # type: ignore[list-item]
    for each in listed:
        if not isinstance(each, Transform):
            raise LutbenchError(f"{each!r:.60} is no transform", accepted="a transform, a LUT")
    return listed


def _kernel_steps(transform: Transform) -> list[Step]:
    match transform:
        case Lut1D():
            return [table_step(CURVE, transform.table, transform.domain)]
        case Lut3D():
            op = LATTICES[transform.interpolation]
            return [table_step(op, transform.table, transform.domain)]
        case ShaperLut3D():
            return [*_kernel_steps(transform.shaper), *_kernel_steps(transform.lut)]
        case Matrix():
            return [matrix_step(transform.array, transform.offset)]
        case Saturation():
            return [_saturation(transform)]
        case Clamp():
            return [clamp_step(transform.low, transform.high)]
        case Cdl():
            held = [clamp_step(0, 1)] if transform.clamp else []
            return [
                matrix_step(np.diag(transform.slope), transform.offset),
                *held,
                power_step(transform.power),
                _saturation(Saturation(transform.saturation)),
                *held,
            ]
        case CdlInverse(cdl=cdl):
            held = [clamp_step(0, 1)] if cdl.clamp else []
            slope = np.array(cdl.slope)
            return [
                *held,
                _saturation(Saturation(1 / cdl.saturation)),
                *held,
                power_step(1 / np.array(cdl.power)),
                matrix_step(np.diag(1 / slope), -np.array(cdl.offset) / slope),
                *held,
            ]
        case _:
            raise LutbenchError(
                f"{transform!r} cannot be run over pixels as it is",
                accepted="LUTs, matrices, saturation, clamps and CDLs; sample others into a LUT",
            )


def _saturation(saturation: Saturation) -> Step:
    luminance = np.tile(saturation.weights, (3, 1))
    return matrix_step(luminance + saturation.amount * (np.eye(3) - luminance))


def _check_type(dtype: DTypeLike, where: str = "dtype") -> np.dtype[Any]:
    try:
        found = np.dtype(dtype)
    except (TypeError, ValueError):
        raise LutbenchError(
            f"{dtype!r:.60} is no type of pixels", where=where, accepted=", ".join(TYPES)
        ) from None
    if found.name not in TYPES:
        raise LutbenchError(f"{found} is no type of pixels", where=where, accepted=", ".join(TYPES))
    return found


def _peak(dtype: np.dtype[Any], bits: int | None, where: str) -> float:
    most = 8 * dtype.itemsize
    if bits is not None and dtype.kind == "u":
        whole(bits, where, 1, most)
    return code_peak(dtype, bits)
