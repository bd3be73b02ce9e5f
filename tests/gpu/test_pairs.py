"""Nodes in pairs: what is packed, read back by plain arithmetic. No device is needed."""

from __future__ import annotations

import numpy as np
import pytest

from lutbench.tables.gpu.pairs import Pairs, pairs

RNG = np.random.default_rng(20261130)
ERROR = 5e-7


def values(made: Pairs, which: int = 0) -> np.ndarray:
    """The near (0) or the far (1) node of each pair."""
    low, high = (made.nodes[..., 2 * which + k].astype(np.uint64) for k in (0, 1))
    whole, mask = low | high << np.uint64(32), np.uint64((1 << 21) - 1)
    numbers = [whole >> np.uint64(43), whole >> np.uint64(21) & mask, whole & mask]
    return made.low + made.unit * np.stack(numbers, axis=-1).astype(float) / 2.0**49


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-0.25, 1.7), (0.3, 0.30001), (1.9, 2.0)])
def test_values_of_all_digits_are_rounded_by_less_than_the_error_given(
    low: float, high: float
) -> None:
    table = RNG.uniform(low, high, (5, 5, 5, 3)).astype(np.float32)
    made = pairs(table, ERROR)
    assert made is not None
    assert np.abs(values(made)[:-1, :-1, :-1] - table).max() <= ERROR * (1 + 1e-9)
    assert np.abs(values(made, 1)[:-2, :-2, :-2] - table[1:, 1:, 1:]).max() <= ERROR * (1 + 1e-9)


def test_black_and_white_stay_exact() -> None:
    table = RNG.uniform(-0.1, 1.2, (4, 4, 4, 3)).astype(np.float32)
    table[0, 0, 0], table[-1, -1, -1] = 0, 1
    made = pairs(table, ERROR)
    assert made is not None
    assert (values(made)[0, 0, 0] == 0).all()
    assert values(made)[3, 3, 3] == pytest.approx([1, 1, 1], abs=2.0**-52)


def test_six_decimals_lose_nothing() -> None:
    table = np.round(RNG.uniform(-0.5, 1.5, (4, 4, 4, 3)), 6)
    made = pairs(table, 0.0)
    assert made is not None
    assert np.abs(values(made)[:4, :4, :4] - table).max() < 1e-12


@pytest.mark.parametrize("bad", [np.nan, np.inf, 300.0])
def test_what_does_not_fit_is_left_as_it_is(bad: float) -> None:
    table = RNG.random((3, 3, 3, 3))
    table[1, 1, 1, 1] = bad
    assert pairs(table, ERROR) is None
