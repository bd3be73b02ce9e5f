"""Any transform over pixels: one set of rules, and the compiled kernel wherever it can be.

What the kernel knows (LUTs, matrices, saturation, clamps, CDLs, and chains of them)
runs compiled for uint8, uint16 and float32. All else is the model: float64, step by
step in numpy, in blocks that stay in the cache. Float64 pixels are the model's too,
except those of LUTs alone, which the kernel does in float64.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Transform, steps_of
from lutbench.tables.interpolation import code_peak, flat_pixels, run_steps, same_place
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.pixels import can_apply, on_device, plan
from lutbench.tables.threads import thread_limit

TYPES = ("uint8", "uint16", "float32", "float64")
BLOCK = 1 << 16  # pixels at a time in numpy: 1.5 MiB of float64

ACCEPTED = "uint8 or uint16 codes, or floats of signal"


def apply(
    transform: Transform, rgb: ArrayLike, out: NDArray[Any] | None, threads: int | None
) -> NDArray[Any]:
    """`Transform.apply`, whose text says what goes in and comes out."""
    if not isinstance(rgb, np.ndarray) and on_device(rgb):
        from lutbench.tables.gpu.run import apply_on_device

        return apply_on_device([transform], rgb, out)  # type: ignore[no-any-return]
    limit = thread_limit(threads)
    pixels = as_pixels(rgb)
    result = np.empty(pixels.shape, pixels.dtype) if out is None else _checked(out, pixels)
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
        When it is no array of numbers, its last axis is not three long, or it is an
        array of whole numbers of a type that says no range of codes.
    """
    try:
        array = np.asarray(rgb)
    except (TypeError, ValueError) as error:
        raise LutbenchError(f"is no array of R G B: {error}", accepted=ACCEPTED) from error
    if array.dtype.name not in TYPES:
        # Numbers in a list are signal, [1, 0, 0] too; an array was given its type.
        plain = array.dtype.kind in "iu" and not hasattr(rgb, "__array__")
        if array.dtype.kind != "f" and not plain:
            raise LutbenchError(f"an array of {array.dtype} is no R G B", accepted=ACCEPTED)
        array = array.astype(np.float64)
    if array.ndim == 0 or array.shape[-1] != 3:
        raise LutbenchError(
            f"an array of shape {array.shape} is not R G B", accepted="a last axis of length 3"
        )
    return array


def _checked(out: Any, pixels: NDArray[Any]) -> NDArray[Any]:
    if not isinstance(out, np.ndarray):
        raise LutbenchError(f"out is a {type(out).__name__}", accepted="a numpy array")
    if out.dtype != pixels.dtype or out.shape != pixels.shape:
        raise LutbenchError(
            f"out is {out.dtype} of shape {out.shape}",
            accepted=f"{pixels.dtype} of shape {pixels.shape}",
        )
    if not out.flags.writeable:
        raise LutbenchError("out is read-only", accepted="an array that can be written to")
    return out


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
