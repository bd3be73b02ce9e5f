"""Interpolation of rows, against NumPy's own of each row."""

from __future__ import annotations

import numpy as np
import pytest

from lutbench.model.interpolation import interp_rows


@pytest.mark.parametrize("size", [2, 8, 2048])
@pytest.mark.parametrize("scale", [1e-12, 1.0, 1e9])
def test_rows_are_those_of_numpy(size: int, scale: float) -> None:
    rng = np.random.default_rng(7)
    # Whole numbers, so that some points are one.
    points = scale * np.maximum.accumulate(rng.integers(-size, size, (5, size)), axis=1)
    values = np.sort(rng.normal(size=size))
    at = scale * rng.uniform(-2 * size, 2 * size, (5, 40, 3))
    at[:, :10, 0] = rng.choice(points.ravel(), (5, 10))
    at[:, 10, 0], at[:, 11, 0], at[:, 12, 0] = np.nan, np.inf, -np.inf
    each = [
        np.interp(row, own, values, left=np.nan, right=np.nan)
        for row, own in zip(at, points, strict=True)
    ]
    # The same arithmetic, so the same bits.
    assert np.array_equal(interp_rows(at, points, values), each, equal_nan=True)
