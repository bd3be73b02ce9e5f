"""The median of what counts, of many rows at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Array


def median_where(values: Array, counted: NDArray[np.bool_]) -> Array:
    """The median along the last axis of the values that count; 0 where none does.

    numpy's own medians leave values out one row at a time, which takes longer.

    >>> rows, counted = np.array([[3.0, 1.0, 9.0, 2.0]]), np.array([[True, True, False, True]])
    >>> float(median_where(rows, counted)[0])
    2.0
    """
    order = np.sort(np.where(counted, values, np.inf), axis=-1)
    last = np.maximum(counted.sum(axis=-1) - 1, 0)
    places = np.stack([last // 2, last - last // 2], axis=-1)
    middle = np.take_along_axis(order, places, axis=-1).mean(axis=-1)
    return np.asarray(np.where(np.isfinite(middle), middle, 0.0))
