"""Whether two LUTs differ only by an exposure before them, judged by their grey scales."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import CLIPS, GREYS
from lutbench.identification.result import Identification
from lutbench.identification.samples import CODES, Samples
from lutbench.model.interpolation import Pchip
from lutbench.model.transforms import Array

# Both limits are the error of a smooth curve between 17 nodes.
MIDDLE = 0.6
"""10-bit codes, median, by which two such grey scales may differ."""

MOST = 3.0
"""10-bit codes, 90th percentile, by which two such grey scales may differ."""


def is_shifted(a: Identification, b: Identification, stops: float) -> bool:
    """Whether b gives for a grey the output of a for that grey `stops` brighter.

    The greys are the nodes of b, made brighter on the source curve of a.
    """
    one, two, best = a.samples, b.samples, a.best
    if one is None or two is None or best is None or best.hypothesis is None:
        return False
    source = best.hypothesis.source
    with np.errstate(all="ignore"):
        inputs = np.asarray(source.encode(source.decode(two.neutral_in) * 2.0**stops))
    inside = (inputs >= one.neutral_in[0]) & (inputs <= one.neutral_in[-1])
    given = Pchip(one.neutral_in, one.neutral)(inputs[inside])
    wanted = two.neutral[inside]
    clear = (_clear(given, one) & _clear(wanted, two)).all(axis=1)
    if clear.sum() < GREYS:
        return False
    off = np.abs(given - wanted)[clear].max(axis=1) * CODES
    return bool(np.median(off) <= MIDDLE and np.percentile(off, 90) <= MOST)


def _clear(values: Array, samples: Samples) -> NDArray[np.bool_]:
    """Which values are not clipped at either end of the LUT's output."""
    low, high = float(samples.neutral.min()), float(samples.neutral.max())
    margin = CLIPS * (high - low)
    return (values > low + margin) & (values < high - margin)
