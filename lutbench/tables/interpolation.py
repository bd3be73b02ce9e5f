"""LUTs on arrays of pixels.

Values outside the domain are clamped to it. A lattice gives NaN in all three
channels for NaN in any; a curve gives NaN in the channel that has it.
Any leading shape and any strides are taken, read-only arrays too. The result
has the same bits for any number of threads, layout, or split of the pixels
into several calls.

The first call that moves many pixels imports numba and loads the compiled
kernel from its cache, or compiles it once (see docs/performance.md). A few
thousand pixels are done in numpy, to the same bits, unless numba is loaded.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables import plain, threads
from lutbench.tables.programs import CURVE, LATTICES, Program, Step, program, table_step

FEW = 50_000  # pixels that numpy does sooner than numba is imported
CHUNK = 1 << 15  # pixels that a thread takes at a time: a multiple of the kernels' block


def apply_1d(
    table: NDArray[Any],
    domain: NDArray[np.float64],
    rgb: NDArray[Any],
    *,
    threads: int | None = None,
) -> NDArray[Any]:
    """Linear interpolation in each channel of a (n, 3) table over `domain` (2, 3).

    Parameters
    ----------
    rgb
        Shape (..., 3), float32 or float64; the result has its type and shape.
    threads
        At most so many threads; None: ``LUTBENCH_THREADS``, else the usable cores.
    """
    return _apply((table_step(CURVE, table, domain),), rgb, threads)


def apply_3d(
    table: NDArray[Any],
    domain: NDArray[np.float64],
    rgb: NDArray[Any],
    method: str,
    *,
    threads: int | None = None,
) -> NDArray[Any]:
    """Tetrahedral or trilinear interpolation in a (n, n, n, 3) table over `domain` (2, 3).

    Parameters are those of `apply_1d`; `method` is ``"tetrahedral"`` or ``"trilinear"``.
    """
    return _apply((table_step(LATTICES[method], table, domain),), rgb, threads)


def _apply(steps: tuple[Step, ...], rgb: NDArray[Any], threads_wanted: int | None) -> NDArray[Any]:
    limit = threads.thread_limit(threads_wanted)
    src = rgb.reshape(-1, 3)
    out = np.empty(rgb.shape, rgb.dtype)
    dst = out.reshape(-1, 3)
    laid = program(steps, rgb.dtype)
    if len(src) < FEW and "lutbench.tables.kernels" not in sys.modules:
        plain.run(src, dst, laid)
    else:
        _run(laid, src, dst, limit)
    return out


def _run(laid: Program, src: NDArray[Any], dst: NDArray[Any], limit: int) -> None:
    from lutbench.tables import kernels

    kernel = kernels.runner(src.dtype, dst.dtype, laid.pool.dtype)

    def work(start: int, stop: int) -> None:
        kernel(src, dst, laid.ops, laid.params, laid.pool, 1.0, start, stop)

    threads.share(work, len(src), CHUNK, limit)
