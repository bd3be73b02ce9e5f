"""The compiled kernel for whoever works on a few lines at a time, in threads of their own."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.programs import Step, program


def in_place(steps: Sequence[Step]) -> Callable[[NDArray[np.float32]], None]:
    """The steps for many small arrays, (3, ...) and contiguous: float32, in the calling thread.

    Laid out once, so that a call costs next to nothing beside its pixels.
    """
    from lutbench.tables import kernels

    laid = program(steps, np.float32, 1.0)
    kernel, pool = kernels.runner(np.float32), laid.pool

    def run(planes: NDArray[np.float32]) -> None:
        pixels = np.moveaxis(planes.reshape(3, -1), 0, -1)
        here = kernels.where(pixels)
        kernel(here, here, laid.ops, laid.params, pool, 1.0, 0, len(pixels))

    return run
