"""LUTs on arrays of pixels.

Values outside the domain are clamped to it. A lattice gives NaN in all three
channels for NaN in any; a curve gives NaN in the channel that has it.
Any leading shape and any strides are taken, read-only arrays too. An array of
uint8 or uint16 holds codes of the full range (255 or 65535 is 1.0), and so does
the result, rounded to nearest. The result has the same bits for any number of
threads, any layout, and any split of the pixels into several calls.

The compiled kernel is loaded when it pays: starting numba takes as long as
numpy takes for some millions of pixels, so the first of a process are done in
numpy, to the same bits (see docs/performance.md).
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables import plain, threads
from lutbench.tables.programs import Program, Step, program

# Pixels that numpy does in the time that numba takes to start. Float64 is what the
# model computes in, seldom a picture: its kernel is left alone for longer, since a
# machine that has not compiled it yet spends many seconds on it.
FEW = {"float32": 3_000_000, "float64": 20_000_000}
CHUNKS = (1 << 15, 1 << 19)  # pixels a thread takes at a time, at least and at most


def code_peak(dtype: Any, bits: int | None = None) -> float:
    """What 1.0 is in an array of `dtype`: the highest code of `bits`, 1.0 for floats."""
    dtype = np.dtype(dtype)
    return 1.0 if dtype.kind == "f" else float((1 << (bits or 8 * dtype.itemsize)) - 1)


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
    limit = threads.thread_limit(threads_wanted)
    number = np.result_type(np.float32, *(a.dtype for a in (pixels, out) if a.dtype.kind == "f"))
    laid = program(steps, number, peak)
    src, dst = flat_pixels(pixels), flat_pixels(out)
    if np.may_share_memory(src, dst) and not same_place(src, dst):
        src = src.copy()
    if _is_few(len(src), number):
        plain.run(src, dst, laid, out_peak)
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
    if done > FEW[number.name] or (is_loaded is not None and is_loaded(number)):
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


def _run(laid: Program, src: NDArray[Any], dst: NDArray[Any], out_peak: float, limit: int) -> None:
    """The compiled kernel over all pixels, on at most `limit` threads."""
    from lutbench.tables import kernels

    kernel = kernels.runner(laid.pool.dtype)
    here, there = kernels.where(src), kernels.where(dst)

    def work(start: int, stop: int) -> None:
        kernel(here, there, laid.ops, laid.params, laid.pool, out_peak, start, stop)

    threads.share(work, len(src), _chunk(len(src), limit), limit)


def _chunk(pixels: int, limit: int) -> int:
    """Pixels a thread takes at a time: a few chunks a thread, each a multiple of a block.

    Small chunks share the work out more evenly. Large ones keep two threads
    from clearing the same large page of a new result, which is done twice then.
    """
    least, most = CHUNKS
    return min(most, max(least, -(-pixels // (4 * limit * least)) * least))
