"""The stretch of the neutral axis that rises and is clear of clipping: it shows the curves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.samples import NOISE, Samples
from lutbench.model.transforms import Array

LEAST_CLIMB = 0.05
"""The least full-scale rise of the neutral axis on which a fit is useful."""

FLAT = 1e-5
"""Full-scale value within which the nodes of a plateau agree: rounding to five decimals."""

FLAT_NODES = 4
"""The fewest nodes of a plateau that noise blurs."""


def rising_run(samples: Samples) -> slice | None:
    """The longest run of the neutral axis that is clear of clipping and rises."""
    clear: NDArray[np.bool_] = np.all(samples.inside(samples.neutral), axis=1)
    rises: NDArray[np.bool_] = np.all(np.diff(samples.neutral, axis=0) > -NOISE, axis=1)
    best, start = slice(0, 0), 0
    for i in range(len(clear) + 1):
        goes_on = i < len(clear) and clear[i] and (i == start or rises[i - 1])
        if not goes_on:
            if i - start > best.stop - best.start:
                best = slice(start, i)
            start = i if i < len(clear) and clear[i] else i + 1
    best = _without_flat_ends(samples.neutral, best)
    if best.stop - best.start < 4:
        return None
    climb = samples.neutral[best][-1] - samples.neutral[best][0]
    return best if (climb > LEAST_CLIMB).all() else None


def _without_flat_ends(neutral: Array, run: slice) -> slice:
    """The run without plateaus at its ends, where something was clipped before a look."""
    start, stop = run.start, run.stop
    if stop - start < 4:
        return run
    values = neutral[run]
    for flat, least in ((FLAT, 2), (NOISE, FLAT_NODES)):
        # Any channel that stays on its end value for some nodes has been clipped there.
        top = int((values > values[-1] - flat).sum(axis=0).max())
        bottom = int((values < values[0] + flat).sum(axis=0).max())
        stop = min(stop, run.stop - top) if top >= least else stop
        start = max(start, run.start + bottom) if bottom >= least else start
    return slice(start, max(stop, start))
