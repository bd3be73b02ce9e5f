"""The monotone cubic against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from lutbench.model.interpolation import Pchip


@given(st.integers(2, 40), st.integers(0, 2**32 - 1), st.booleans())
def test_it_is_scipys(count: int, seed: int, flat: bool) -> None:
    random = np.random.default_rng(seed)
    x = np.cumsum(random.uniform(0.01, 1.0, count))
    y = random.standard_normal((count, 3))
    if flat:
        y = np.round(y)  # chords of 0, and of opposite signs
    at = random.uniform(x[0] - 0.1, x[-1] + 0.1, 200)
    at[: min(count, 200)] = x[:200]
    theirs = PchipInterpolator(x, y)
    # Roundings of the same formulas in another order, times the steepest chord (100 · 8).
    np.testing.assert_allclose(Pchip(x, y)(at), theirs(at), rtol=1e-10, atol=1e-10)
    np.testing.assert_allclose(Pchip(x, y).slope(at), theirs.derivative()(at), rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(Pchip(x, y[:, 0])(at), theirs(at)[:, 0], rtol=1e-10, atol=1e-10)


@pytest.mark.parametrize("shape", [(), (3,), (2, 4)])
def test_shapes(shape: tuple[int, ...]) -> None:
    x = np.array([0.0, 1.0, 3.0])
    assert Pchip(x, x)(np.zeros(shape)).shape == shape
    assert Pchip(x, np.stack([x, x], axis=1))(np.zeros(shape)).shape == (*shape, 2)
