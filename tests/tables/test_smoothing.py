"""A table before it was smoothed, against scipy's Gaussian filter."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from lutbench.tables.smoothing import unsmoothed

STEP = 1e-6
"""Six decimals."""


def _clipped(size: int) -> NDArray[np.float64]:
    """A matrix, a power and a clip: nodes on plateaus, and corners before them."""
    axis = np.linspace(0, 1, size)
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    matrix = np.array([[1.7, -0.6, -0.1], [-0.2, 1.3, -0.1], [0.0, -0.3, 1.3]])
    light = 4 * nodes**2.2 @ matrix.T
    return np.asarray(np.clip(np.sign(light) * np.abs(light) ** (1 / 2.4), 0, 1))


@pytest.mark.parametrize("mode", ["nearest", "mirror"])
@pytest.mark.parametrize("width", [0.45, 0.7])
def test_a_gaussian_is_undone(width: float, mode: str) -> None:
    table = _clipped(33)
    smooth = gaussian_filter(table, sigma=(width, width, width, 0), mode=mode)
    found = unsmoothed(np.round(smooth, 6), STEP)
    assert found is not None
    # The last step of the search is 0.0006 nodes.
    assert abs(found.width - width) < 0.002
    off = np.abs(found.table - table)
    # A width that is off by d leaves d·width of a second difference, which is one at a corner.
    assert off.max() < 0.002
    assert np.median(off) < 10 * found.gain * STEP


def test_other_tables_stay() -> None:
    assert unsmoothed(_clipped(33), STEP) is None
    rng = np.random.default_rng(1)
    assert unsmoothed(rng.random((17, 17, 17, 3)), STEP) is None
    axis = np.linspace(0, 1, 17)
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    assert unsmoothed(nodes, STEP) is None
