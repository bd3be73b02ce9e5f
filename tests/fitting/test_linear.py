"""Systems of equations, singular ones too, against what NumPy gives for them."""

from __future__ import annotations

import numpy as np
import pytest

from lutbench.fitting.linear import solve_ridged


def systems(count: int = 4) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(7)
    rows = rng.normal(size=(count, 9, 5))
    return rows.swapaxes(1, 2) @ rows, rng.normal(size=(count, 5, 1))


def test_regular_systems_are_left_to_numpy() -> None:
    matrices, right = systems()
    np.testing.assert_array_equal(solve_ridged(matrices, right), np.linalg.solve(matrices, right))


def test_a_parameter_that_nothing_hangs_on_is_naught() -> None:
    matrices, right = systems()
    matrices[1, 2], matrices[1, :, 2], right[1, 2] = 0, 0, 0
    with pytest.raises(np.linalg.LinAlgError):
        np.linalg.solve(matrices, right)
    found = solve_ridged(matrices, right)
    assert found[1, 2, 0] == 0
    others = [0, 1, 3, 4]
    # Rounding of a double, times the condition of such systems (under 1e3), and the ridge.
    wanted = np.linalg.solve(matrices[1][np.ix_(others, others)], right[1, others])
    np.testing.assert_allclose(found[1, others], wanted, rtol=1e-8)
    np.testing.assert_allclose(found[0], np.linalg.solve(matrices[0], right[0]), rtol=1e-8)


def test_nothing_at_all_is_naught() -> None:
    assert not solve_ridged(np.zeros((2, 3, 3)), np.zeros((2, 3, 1))).any()


def test_two_parameters_that_do_the_same_share_what_there_is() -> None:
    normal, right = np.array([[[4.0, 4.0], [4.0, 4.0]]]), np.array([[[6.0], [6.0]]])
    with pytest.raises(np.linalg.LinAlgError):
        np.linalg.solve(normal, right)
    found = solve_ridged(normal, right)
    # The rounding of a double, over the share of the ridge.
    np.testing.assert_allclose(normal @ found, right, rtol=1e-3)
