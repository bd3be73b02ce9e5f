"""What identification looks at: nodes and grey scale of every kind of LUT, plateaus, rounding."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from lutbench.errors import LutbenchError
from lutbench.identification.knowledge import knowledge_of
from lutbench.identification.neutral import match_neutral
from lutbench.identification.samples import FEW, MOST, SETTLED, samples_of
from lutbench.model.catalogue import open_catalogue
from lutbench.model.grade import Cdl
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

COUNTED = 0.51 * 10.0**-SETTLED
"""Half of the last decimal that counts."""

POWER = Lut3D(lattice(9) ** 1.7)


def test_nodes_of_a_lattice_are_its_own() -> None:
    found = samples_of(POWER)
    np.testing.assert_allclose(found.table, POWER.table, atol=COUNTED)
    np.testing.assert_array_equal(found.nodes, lattice(9))
    neutral = POWER.table[range(9), range(9), range(9)]
    np.testing.assert_allclose(found.neutral, neutral, atol=COUNTED)
    assert not found.one_d


def test_of_a_large_lattice_some_nodes_and_the_whole_grey_scale() -> None:
    lut = Lut3D(lattice(65) ** 1.7)
    found = samples_of(lut)
    assert found.table.shape == (MOST, MOST, MOST, 3)
    np.testing.assert_allclose(found.table, lut.apply(found.nodes), atol=1e-12)
    assert found.neutral.shape == (65, 3)
    np.testing.assert_allclose(found.neutral[:, 0], np.linspace(0, 1, 65) ** 1.7, atol=1e-12)


def test_an_enlarged_table_is_the_smaller_one_that_it_was_made_from() -> None:
    """Enlarged by scipy in straight lines; the smaller table comes back to six decimals of it."""
    mixing = np.array([[0.7, 0.2, 0.1], [0.1, 0.8, 0.1], [0.1, 0.3, 0.6]])
    small = (lattice(9) @ mixing.T) ** 1.7
    axis = np.linspace(0, 1, 9)
    lines = RegularGridInterpolator((axis, axis, axis), small)
    large = np.round(lines(lattice(17).reshape(-1, 3)).reshape(17, 17, 17, 3), 6)
    found = samples_of(Lut3D(large))
    np.testing.assert_allclose(found.axis, axis, atol=1e-12)
    np.testing.assert_allclose(found.table, small, atol=2e-6)


@pytest.mark.parametrize("decimals", [4, 5])
def test_few_decimals_are_a_rounding(decimals: int) -> None:
    found = samples_of(Lut3D(np.round(lattice(9) ** 1.7, decimals)))
    assert found.step == 10.0**-decimals
    # Even rounding leaves a step over the root of twelve.
    assert found.noise == pytest.approx(1023 * 10.0**-decimals / np.sqrt(12))


def test_a_channel_that_stays_as_it_is_leaves_exposures_finite() -> None:
    ramp = np.linspace(0, 1, 256)
    known = knowledge_of(open_catalogue(user=False))
    found = samples_of(Lut1D(np.stack([ramp**0.5, np.full(256, 0.25), ramp**0.5], axis=1)))
    match = match_neutral(found, known.sources[:8], known.targets[:8])
    assert np.isfinite(match.stops).all()


def test_few_of_the_nodes_are_spread_from_end_to_end() -> None:
    whole = samples_of(Lut3D(lattice(33) ** 1.7))
    few = whole.few
    assert few.table.shape == (FEW, FEW, FEW, 3)
    np.testing.assert_allclose(few.axis, np.linspace(0, 1, FEW), atol=1e-12)
    np.testing.assert_allclose(few.table, few.nodes**1.7, atol=1e-12)
    # Grey scale and plateaus stay those of all nodes.
    np.testing.assert_array_equal(few.neutral, whole.neutral)
    np.testing.assert_array_equal(few.low, whole.low)
    assert samples_of(POWER).few.table.shape == POWER.table.shape
    curve = samples_of(Lut1D(np.linspace(0, 1, 64)[:, None] ** [1.0, 1.5, 2.0]))
    assert curve.few is curve


def test_a_curve_stands_for_the_lut_that_it_is() -> None:
    """Rows of a 1D LUT as a lattice on which each channel follows its own input."""
    rows = np.linspace(0, 1, 1024)[:, None] ** [1.0, 1.5, 2.0]
    found = samples_of(Lut1D(rows))
    assert found.one_d
    np.testing.assert_allclose(found.table, found.nodes ** [1.0, 1.5, 2.0], atol=1e-6)
    np.testing.assert_allclose(found.neutral, rows, atol=COUNTED)


def test_a_curve_with_a_domain_for_each_channel_is_sampled_over_all_of_them() -> None:
    lut = Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 5), [[0.0, 0.0, -1.0], [1.0, 2.0, 1.0]])
    found = samples_of(lut)
    assert (found.neutral_in[0], found.neutral_in[-1]) == (-1.0, 2.0)
    at_one = np.interp(1.0, found.neutral_in, found.neutral[:, 1])
    assert at_one == pytest.approx(0.5)  # half way of green's own domain


def test_a_shaper_is_undone_in_the_inputs() -> None:
    """Nodes stand where the shaper sends an input to them: inputs squared, so at the roots."""
    shaper = Lut1D(np.repeat(np.linspace(0, 1, 4097)[:, None] ** 2, 3, axis=1))
    whole = ShaperLut3D(shaper, POWER)
    found = samples_of(whole)
    np.testing.assert_allclose(found.axis, np.linspace(0, 1, 9) ** 0.5, atol=1e-4)
    np.testing.assert_allclose(found.table, whole.apply(found.nodes), atol=1e-3)


@pytest.mark.parametrize(
    "shaper",
    [
        Lut1D(np.linspace([0.0] * 3, [1.0, 0.9, 1.0], 33)),  # three curves
        Lut1D(np.linspace([0.3] * 3, [0.6] * 3, 33)),  # does not cover the lattice
    ],
)
def test_a_shaper_that_is_no_one_curve_is_sampled_through(shaper: Lut1D) -> None:
    whole = ShaperLut3D(shaper, POWER)
    found = samples_of(whole)
    assert len(found.axis) == MOST
    np.testing.assert_allclose(found.table, whole.apply(found.nodes), atol=1e-12)


@pytest.mark.parametrize(
    "lut",
    [
        Cdl(slope=(0.5, 0.6, 0.7)),  # no table at all
        Lut3D(POWER.table, [[0.0] * 3, [1.0, 1.0, 2.0]]),  # edges of two lengths
    ],
)
def test_any_other_transform_is_sampled(lut: Cdl | Lut3D) -> None:
    found = samples_of(lut)
    np.testing.assert_allclose(found.table, lut.apply(found.nodes), atol=1e-12)
    assert found.axis[-1] == (2.0 if isinstance(lut, Lut3D) else 1.0)


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_the_step_of_a_rounded_table(bits: int) -> None:
    top = 2**bits - 1
    found = samples_of(Lut3D(np.round(POWER.table * top) / top))
    assert found.step == 1 / top
    # Rounding to steps is off by a twelfth of a step squared, in the mean of squares.
    assert found.floor == pytest.approx(1023 / top / 12**0.5)
    assert samples_of(POWER).step == 0.0


def test_plateaus_sharp_and_blurred() -> None:
    held = np.clip(1.6 * lattice(17) - 0.3, 0, 1)
    sharp = samples_of(Lut3D(held))
    assert not sharp.blurred
    assert sharp.clipped
    noise = np.random.default_rng(2).normal(0, 0.3 / 1023, held.shape)
    blurred = samples_of(Lut3D(held + noise))
    assert blurred.blurred
    assert not blurred.clipped
    # Clear of both plateaus is what was not held, but for what lies as near as the margin.
    free = (held > 0.003) & (held < 0.997)
    np.testing.assert_array_equal(sharp.inside(held)[free], True)
    assert not sharp.inside(held)[(held == 0) | (held == 1)].any()
    assert not blurred.inside(held + noise)[(held == 0) | (held == 1)].any()
    np.testing.assert_array_equal(sharp.held(held * 3 - 1), np.clip(held * 3 - 1, 0, 1))


def test_one_colour_only_is_nothing_to_identify() -> None:
    with pytest.raises(LutbenchError, match="nothing to identify"):
        samples_of(Lut3D(np.full((5, 5, 5, 3), 0.4)))


def test_a_value_that_far_more_nodes_have_is_a_plateau() -> None:
    # As where a log curve has no signal for light under 0, and naught was written.
    rng = np.random.default_rng(4)
    table = rng.uniform(-0.5, 1.0, (17, 17, 17, 3))
    unclear = rng.random((17, 17, 17)) < 0.1
    table[unclear] = 0.0
    samples = samples_of(Lut3D(table))
    assert not samples.clear[unclear].any()
    assert samples.clear[~unclear].mean() > 0.99


def test_such_a_plateau_is_seen_under_noise_of_a_code() -> None:
    rng = np.random.default_rng(4)
    table = rng.uniform(-0.5, 1.0, (17, 17, 17, 3))
    held = np.minimum(table, 0.8)
    unclear = rng.random((17, 17, 17)) < 0.1
    held[unclear] = 0.0
    noisy = held + rng.uniform(-1, 1, held.shape) / 1023
    samples = samples_of(Lut3D(noisy))
    assert samples.blurred
    np.testing.assert_allclose(samples.piles, 0.0, atol=0.3 / 1023)
    assert not samples.clear[unclear].any()
    free = ~unclear & (table < 0.79).all(axis=-1) & (table > -0.49).all(axis=-1)
    # A code or so to either side of the plateau goes with it: 1 % of the range.
    assert samples.clear[free].all(axis=-1).mean() > 0.98


def test_noise_alone_makes_no_plateau() -> None:
    rng = np.random.default_rng(4)
    smooth = np.clip(1.3 * rng.uniform(0, 1, (17, 17, 17, 3)) - 0.1, 0, 1)
    noisy = smooth + rng.uniform(-1, 1, smooth.shape) / 1023
    samples = samples_of(Lut3D(noisy))
    assert samples.blurred
    assert np.isnan(samples.piles).all()


def test_values_of_a_curve_alone_are_no_plateaus() -> None:
    # Each of 17 values is held by one node in 17: none stands out.
    x = np.linspace(0, 1, 17)
    table = np.stack(np.meshgrid(x, x, x, indexing="ij"), axis=-1) ** 0.7
    samples = samples_of(Lut3D(table))
    assert np.isnan(samples.piles).all()
