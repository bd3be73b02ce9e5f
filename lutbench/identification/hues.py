"""Nodes by hue: a look on some hues leaves the other hues unchanged."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Array

WINDOWS = 6
"""Windows around the circle of hues."""

WIDTH = np.deg2rad(75)
"""Radians to either side of a window's centre, so that windows overlap."""

FEWEST = 60
"""The fewest nodes that a window is used with."""


def hue_of(outputs: Array) -> Array:
    """The angle of R G B about the neutral axis in radians, red at 0, shape (...)."""
    r, g, b = np.moveaxis(np.asarray(outputs, dtype=np.float64), -1, 0)
    return np.asarray(np.arctan2(np.sqrt(3) * (g - b), 2 * r - g - b))


def hue_windows(outputs: Array) -> list[NDArray[np.int64]]:
    """Indices of the rows of outputs (n, 3) in each of six windows of hue that overlap.

    A window with too few is left out.
    """
    hue = hue_of(outputs)
    found = []
    for centre in np.arange(WINDOWS) * 2 * np.pi / WINDOWS:
        apart = np.abs(np.angle(np.exp(1j * (hue - centre))))
        inside = np.flatnonzero(apart <= WIDTH)
        if len(inside) >= FEWEST:
            found.append(inside)
    return found
