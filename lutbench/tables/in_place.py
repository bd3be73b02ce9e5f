"""The compiled kernel for callers that process a few lines at a time in their own threads."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.programs import Step, program


def in_place(steps: Sequence[Step]) -> Callable[[NDArray[np.float32]], None]:
    """A function that applies the steps in place to a contiguous float32 array, shape (3, ...).

    It works in the calling thread. The steps are prepared once, so that each call is cheap.
    """
    from lutbench.tables import kernels

    prepared = program(steps, np.float32, 1.0)
    kernel, pool = kernels.runner(np.float32), prepared.pool

    def run(planes: NDArray[np.float32]) -> None:
        pixels = np.moveaxis(planes.reshape(3, -1), 0, -1)
        here = kernels.where(pixels)
        kernel(here, here, prepared.ops, prepared.params, pool, 1.0, 0, len(pixels))

    return run
