"""Chains, ranges, sizes, neutral curves, blends and repairs of LUTs.

Independent computation: scipy's RegularGridInterpolator and colour-science's LUT3D.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from lutbench import LutbenchError
from lutbench.algebra import (
    blend,
    chain,
    change_domain,
    change_range,
    neutral_curve,
    repair,
    resample,
    strength,
)
from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.gamuts import BT709, BT2020, conversion
from lutbench.model.grade import Saturation
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Matrix, Transform
from lutbench.tables.cells import (
    channel_planes,
    det3,
    folded,
    gradient,
    jacobians,
    positions,
    tetrahedra,
    volumes,
    weight_matrix,
)
from lutbench.tables.lut import UNIT_DOMAIN, Lut1D, Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import sample
from lutbench.tables.traces import noise_level

CODE = 1 / 1023
UNIT = np.array(UNIT_DOMAIN)
CATALOGUE = open_catalogue(user=False)
POINTS = np.random.default_rng(4).random((3000, 3))


def monitoring() -> Transform:
    """A camera encoding to a display, into a larger gamut, with a shoulder: nothing is clipped."""
    return (
        Decode(CATALOGUE.curve("BT.2100 HLG"))
        | conversion(BT709, BT2020)
        | ToneCurve(white=5.5)
        | Encode(CATALOGUE.curve("BT.1886"))
    )


def look() -> Transform:
    return Saturation(0.8) | Matrix.from_array(np.diag([0.9, 0.95, 0.85]), [0.05, 0.02, 0.03])


@pytest.fixture(scope="module")
def log_to_display() -> Lut3D:
    return sample(monitoring(), 33)


def rows(*values: float) -> Lut1D:
    return Lut1D(np.repeat(np.array(values, dtype=float)[:, None], 3, axis=1))


# --- cells -----------------------------------------------------------------------------------


def test_weights_against_colour_science(log_to_display: Lut3D) -> None:
    table = log_to_display.table
    steps = positions(POINTS, UNIT, 33)
    by_weights = weight_matrix("tetrahedral", steps, 33) @ table.reshape(-1, 3)
    theirs = colour.LUT3D(table).apply(
        POINTS, interpolator=colour.algebra.table_interpolation_tetrahedral
    )
    # colour-science's vertices are found from float64 positions: rounding only.
    np.testing.assert_allclose(by_weights, theirs, atol=1e-6)


def test_trilinear_weights_against_scipy(log_to_display: Lut3D) -> None:
    axis = np.linspace(0, 1, 33)
    theirs = RegularGridInterpolator((axis, axis, axis), log_to_display.table)(POINTS)
    ours = weight_matrix("trilinear", positions(POINTS, UNIT, 33), 33) @ (
        log_to_display.table.reshape(-1, 3)
    )
    np.testing.assert_allclose(ours, theirs, atol=1e-12)


def test_tetrahedra_fill_the_cube() -> None:
    corners = lattice(4).reshape(-1, 3)[tetrahedra(4)]
    sizes = np.abs(np.linalg.det(np.diff(corners, axis=1))) / 6
    assert len(sizes) == 6 * 27
    assert sizes.sum() == pytest.approx(1)
    assert np.ptp(sizes) < 1e-15


def test_determinants_of_a_matrix_are_its_own() -> None:
    matrix = Matrix.from_array([[0.8, 0.1, 0.1], [0.2, 0.7, 0.1], [0.0, 0.1, 0.9]])
    table = sample(matrix, 5).table
    expected = np.linalg.det(matrix.array)
    np.testing.assert_allclose(det3(jacobians(table)) * 4**3, expected, atol=1e-12)
    for _, found, _ in volumes(channel_planes(table)):
        np.testing.assert_allclose(found * 4**3, expected, atol=1e-12)


def test_gradient_is_the_slope_of_the_lut(log_to_display: Lut3D) -> None:
    points = POINTS[:200] * 0.9 + 0.05
    slope = gradient(log_to_display.table.astype(np.float64), points * 32) * 32
    h = 1e-9  # so small that hardly a point crosses into another tetrahedron
    for axis in range(3):
        step = np.eye(3)[axis] * h
        finite = (log_to_display.apply(points + step) - log_to_display.apply(points)) / h
        np.testing.assert_allclose(slope[:, :, axis], finite, atol=1e-4)


# --- chain -----------------------------------------------------------------------------------


def test_chain_is_one_after_the_other(log_to_display: Lut3D) -> None:
    second = sample(look(), 17)
    made = chain([log_to_display, second])
    assert isinstance(made.lut, Lut3D)
    assert made.lut.size == 33
    nodes = lattice(33).reshape(-1, 3)
    theirs = colour.LUT3D(second.table).apply(
        log_to_display.table.reshape(-1, 3),
        interpolator=colour.algebra.table_interpolation_tetrahedral,
    )
    np.testing.assert_allclose(made.lut.apply(nodes), theirs, atol=1e-6)
    expected = second.apply(log_to_display.apply(POINTS))
    assert np.abs(made.lut.apply(POINTS) - expected).max() * 1023 <= made.error.max
    assert made.error.mean < 0.5


def test_curves_chain_into_a_curve() -> None:
    grid = np.linspace(0, 1, 1024)
    first, second = rows(*(grid**2.0)), rows(*np.sqrt(grid))
    made = chain([first, second]).lut
    assert isinstance(made, Lut1D)
    np.testing.assert_allclose(
        made.apply(POINTS), second.apply(first.apply(POINTS)), atol=0.2 * CODE
    )


def test_a_leading_curve_stays_as_shaper() -> None:
    log = CATALOGUE.curve("ACEScct")
    # Scene-linear to log over 0..16: hopeless on a lattice without a shaper.
    inputs = np.linspace(0, 16, 16384)
    shaper = Lut1D(
        np.repeat(log.encode(inputs)[:, None], 3, axis=1), np.array([[0.0] * 3, [16.0] * 3])
    )
    kept, plain = chain([shaper, look()]), chain([shaper, look()], shaper=False)
    assert isinstance(kept.lut, ShaperLut3D)
    assert isinstance(plain.lut, Lut3D)
    assert kept.error.mean < 1e-6 < plain.error.mean
    assert float(kept.lut.lut.domain.max()) == 1.0


def test_chain_says_what_is_clamped_between() -> None:
    over = Lut1D(np.array([[0.0] * 3, [1.5] * 3]))
    made = chain([over, Lut3D.identity(5)])
    clamped = made.change("clamped_between")
    assert clamped is not None
    assert clamped.value == pytest.approx(0.5)


def test_chain_of_nothing_is_refused() -> None:
    with pytest.raises(LutbenchError, match="nothing to chain"):
        chain([])


# --- range and domain ------------------------------------------------------------------------


def test_target_range_is_exact(log_to_display: Lut3D) -> None:
    made = change_range(log_to_display, target=("full", "legal"))
    assert made.error.max == 0
    low, high = 64 / 1023, 940 / 1023  # Recommendation ITU-R BT.709: 10-bit black and white
    np.testing.assert_allclose(
        made.lut.table, low + log_to_display.table * (high - low), atol=1e-12
    )


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_range_there_and_back(log_to_display: Lut3D, bits: int) -> None:
    there = change_range(
        log_to_display, source=("full", "legal"), target=("full", "legal"), bits=bits
    )
    unit, top = 2 ** (bits - 8), 2**bits - 1
    low, high = 16 * unit / top, 235 * unit / top
    scaled = low + POINTS * (high - low)
    expected = low + log_to_display.apply(POINTS) * (high - low)
    # Sampled on a lattice of the same size: the interpolation error of the LUT itself.
    assert np.abs(there.lut.apply(scaled) - expected).mean() < 1.5 * CODE
    assert there.change("clamped_inputs") is not None


def test_domain_of_a_lut(log_to_display: Lut3D) -> None:
    wide = change_domain(log_to_display, (-0.25, 1.25), 49)
    assert isinstance(wide.lut, Lut3D)
    assert wide.lut.domain[:, 0].tolist() == [-0.25, 1.25]
    # 49 nodes over 1.5 hold every node of 33 over 1, so nothing is lost.
    np.testing.assert_allclose(wide.lut.apply(POINTS), log_to_display.apply(POINTS), atol=1e-9)
    cut = change_domain(log_to_display, (0.0, 0.5), 17)
    assert cut.change("domain_cut") is not None
    assert cut.error.max < 1e-9 * 1023


def test_range_of_a_curve_stays_a_curve() -> None:
    """Full-range codes in place of legal ones: the input is stretched, the table stays 1D."""
    curve = Lut1D(np.repeat(np.linspace(0, 1, 1024)[:, None] ** 0.45, 3, axis=1), title="Day")
    made = change_range(curve, source=("legal", "full"))
    assert isinstance(made.lut, Lut1D)
    assert made.lut.title == "Day"
    low, high = 64 / 1023, 940 / 1023  # Recommendation ITU-R BT.709
    expected = curve.apply(low + POINTS * (high - low))
    # Between rows of a square root near black a line leaves up to half of a step's bend.
    assert np.abs(made.lut.apply(POINTS) - expected).max() < CODE
    assert made.change("clamped_inputs") is None


def test_range_through_a_shaper() -> None:
    shaper = Lut1D(np.repeat(np.linspace(0, 1, 64)[:, None] ** 0.5, 3, axis=1))
    whole = ShaperLut3D(shaper, sample(look(), 9))
    made = change_range(whole, target=("full", "legal"))
    assert isinstance(made.lut, ShaperLut3D)
    expected = 64 / 1023 + whole.apply(POINTS) * 876 / 1023
    np.testing.assert_allclose(made.lut.apply(POINTS), expected, atol=1e-6)


def test_domain_of_a_shaper_lut_keeps_the_lattice() -> None:
    shaper = Lut1D(np.repeat(np.linspace(0, 1, 4096)[:, None] ** 0.5, 3, axis=1))
    whole = ShaperLut3D(shaper, sample(look(), 9))
    made = change_domain(whole, (0.0, 0.25))
    assert isinstance(made.lut, ShaperLut3D)
    np.testing.assert_array_equal(made.lut.lut.table, whole.lut.table)
    np.testing.assert_allclose(made.lut.apply(POINTS / 4), whole.apply(POINTS / 4), atol=1e-3)
    assert made.changes[0].message == "domain 0..1 to 0..0.25"
    cut = made.change("domain_cut")
    assert cut is not None
    assert cut.value == pytest.approx(0.75)
    fewer = change_domain(whole, UNIT_DOMAIN, size=5)
    assert fewer.lut.size == 5
    each = change_domain(sample(look(), 9), [[0, 0, 0], [1, 1, 0.5]])
    assert each.changes[0].message == "domain 0..1 to 0..1, 0..1, 0..0.5"


# --- size ------------------------------------------------------------------------------------


def test_larger_size_beats_straight_lines() -> None:
    coarse = sample(monitoring(), 17)
    truth = monitoring().apply(POINTS)
    best, linear = resample(coarse, 33), resample(coarse, 33, "linear")
    error = np.abs(best.lut.apply(POINTS) - truth).mean()
    assert error < 0.6 * np.abs(linear.lut.apply(POINTS) - truth).mean()
    assert best.lut.size == 33


def test_a_size_of_which_no_half_can_be_left_out_is_made_larger_too() -> None:
    """Nothing can be measured on an even or very small size: cubic, never past its neighbours."""
    for size in (2, 3, 4, 16):
        small = sample(monitoring(), size)
        assert np.array_equal(resample(small, 21).lut.table, resample(small, 21, "pchip").lut.table)


def test_clipped_lut_does_not_ring() -> None:
    clipped = sample(Matrix.from_array(np.eye(3) * 1.7, [-0.2] * 3), 17)
    clipped = Lut3D(np.clip(clipped.table, 0, 1))
    for method in ("linear", "pchip", "cubic", "fit", "best"):
        table = resample(clipped, 33, method).lut.table
        assert table.min() >= 0
        assert table.max() <= 1


def test_smaller_size_takes_the_best(log_to_display: Lut3D) -> None:
    errors = {
        method: resample(log_to_display, 17, method).error.mean
        for method in ("linear", "pchip", "cubic", "fit")
    }
    assert resample(log_to_display, 17).error.mean == min(errors.values())
    assert errors["fit"] < 0.8 * errors["linear"]


def test_odd_size_keeps_the_nodes(log_to_display: Lut3D) -> None:
    doubled = resample(log_to_display, 65).lut
    np.testing.assert_allclose(doubled.table[::2, ::2, ::2], log_to_display.table, atol=1e-12)


def test_sizes_of_curves() -> None:
    grid = np.linspace(0, 1, 33)
    made = resample(rows(*(grid**2)), 1025)
    assert np.abs(made.lut.apply(POINTS) - POINTS**2).max() < 0.2 * CODE
    with pytest.raises(LutbenchError, match="method"):
        resample(rows(0, 1), 5, "cubic")


# --- neutral curve ---------------------------------------------------------------------------


def test_neutral_curve_is_the_composite_curve(log_to_display: Lut3D) -> None:
    made = neutral_curve(log_to_display)
    ramp = np.repeat(np.linspace(0, 1, 997)[:, None], 3, axis=1)
    np.testing.assert_allclose(made.lut.apply(ramp), log_to_display.apply(ramp), atol=1e-4)
    assert made.changes == ()
    tinted = Lut3D(log_to_display.table * [1.0, 0.98, 1.0])
    assert neutral_curve(tinted).change("tint") is not None
    grey = neutral_curve(tinted, grey=True).lut.table
    assert np.ptp(grey, axis=1).max() == 0


# --- blend and strength ----------------------------------------------------------------------


def test_blend_is_linear_between(log_to_display: Lut3D) -> None:
    other = sample(look(), 33)
    for amount in (0.0, 0.3, 1.0):
        made = blend(log_to_display, other, amount)
        expected = (1 - amount) * log_to_display.apply(POINTS) + amount * other.apply(POINTS)
        np.testing.assert_allclose(made.lut.apply(POINTS), expected, atol=1e-9)


def test_strength_of_a_look() -> None:
    made = sample(look(), 17)
    assert np.abs(strength(made, 0).lut.apply(POINTS) - POINTS).max() < 1e-9
    doubled = strength(made, 2.0)
    np.testing.assert_allclose(
        doubled.lut.apply(POINTS), POINTS + 2 * (look().apply(POINTS) - POINTS), atol=1e-9
    )
    assert isinstance(strength(rows(0.1, 0.9), 0.5).lut, Lut1D)
    with pytest.raises(LutbenchError, match="out of range"):
        strength(made, 7)


def test_strength_over_a_conversion_keeps_the_conversion() -> None:
    plain = sample(monitoring(), 33)
    graded = chain([plain, look()]).lut
    half = strength(graded, 0.5, base=plain).lut
    expected = 0.5 * (plain.table + graded.table)
    np.testing.assert_allclose(half.table, expected, atol=1e-9)


def test_blend_refuses_other_domains() -> None:
    wide = Lut3D(lattice(5, [[0] * 3, [2] * 3]), np.array([[0.0] * 3, [2.0] * 3]))
    with pytest.raises(LutbenchError, match="different domains"):
        blend(Lut3D.identity(5), wide)


def test_blend_keeps_a_common_shaper() -> None:
    shaper = rows(*np.sqrt(np.linspace(0, 1, 256)))
    first = ShaperLut3D(shaper, Lut3D.identity(9))
    second = ShaperLut3D(shaper, sample(look(), 9))
    made = blend(first, second, 0.25)
    assert isinstance(made.lut, ShaperLut3D)
    assert made.error.mean < 0.05


# --- repair ----------------------------------------------------------------------------------


def test_sound_luts_come_out_as_they_went_in(log_to_display: Lut3D) -> None:
    for lut in (log_to_display, sample(monitoring(), 17), Lut3D.identity(33)):
        made = repair(lut, ("range", "noise", "monotone", "tint", "folds"))
        assert made.lut is lut, [each.message for each in made.changes]
        assert made.changes == ()


def test_noise_is_found_and_smoothed(log_to_display: Lut3D) -> None:
    sigma = 1.5 * CODE
    noise = np.random.default_rng(2).normal(0, sigma, log_to_display.table.shape)
    noisy = Lut3D(log_to_display.table + noise)
    assert noise_level(channel_planes(noisy.table)) == pytest.approx(sigma, rel=0.1)
    made = repair(noisy, ("noise",))
    before = np.abs(noisy.table - log_to_display.table).mean()
    after = np.abs(made.lut.table - log_to_display.table).mean()
    assert after < 0.5 * before
    # No node may move further than three times the noise.
    assert np.abs(made.lut.table - noisy.table).max() <= 3.4 * sigma
    assert made.change("noise") is not None


def test_falling_neutral_axis_is_made_to_rise(log_to_display: Lut3D) -> None:
    table = log_to_display.table.copy()
    table[20, 20, 20] -= 0.1
    made = repair(Lut3D(table), ("monotone",))
    ramp = np.repeat(np.linspace(0, 1, 33)[:, None], 3, axis=1)
    assert (np.diff(made.lut.apply(ramp), axis=0) >= -1e-12).all()
    assert made.change("monotone") is not None
    far = np.ptp(lattice(33), axis=-1) >= 0.35
    assert np.array_equal(made.lut.table[far], table[far])


def test_tint_goes_and_colours_stay(log_to_display: Lut3D) -> None:
    tinted = Lut3D(log_to_display.table * [1.0, 0.97, 0.94])
    made = repair(tinted, ("tint",))
    ramp = np.repeat(np.linspace(0, 1, 33)[:, None], 3, axis=1)
    assert np.ptp(made.lut.apply(ramp), axis=1).max() < 1e-9
    far = np.ptp(lattice(33), axis=-1) >= 0.35
    assert np.array_equal(made.lut.table[far], tinted.table[far])


def test_folds_are_relaxed(log_to_display: Lut3D) -> None:
    table = log_to_display.table.copy()
    table[16, 17, 18] = table[18, 17, 18]
    table[24, 10, 12, 1] += 0.08
    assert folded(table).any()
    made = repair(Lut3D(table), ("folds",))
    assert not folded(np.asarray(made.lut.table)).any()
    change = made.change("folds")
    assert change is not None
    assert made.change("folds_left") is None
    moved = (np.abs(made.lut.table - table).max(axis=-1) > 1e-6).mean()
    assert moved < 0.01


def test_clipping_is_no_fold() -> None:
    clipped = Lut3D(np.clip(sample(Matrix.from_array(np.eye(3) * 2), 9).table, 0, 1))
    assert not folded(np.asarray(clipped.table)).any()
    rounded = Lut3D(np.round(clipped.table, 6))
    assert not folded(np.asarray(rounded.table)).any()


def test_unknown_repair_is_refused() -> None:
    with pytest.raises(LutbenchError, match="no repair is named 'hue'"):
        repair(Lut3D.identity(5), ("hue",))


# --- LUTs with a shaper ----------------------------------------------------------------------


def shaped(inner: Lut3D) -> ShaperLut3D:
    return ShaperLut3D(Lut1D(np.repeat(np.linspace(0, 1, 512)[:, None] ** 0.5, 3, axis=1)), inner)


def test_the_lattice_behind_a_shaper_is_resized() -> None:
    whole = shaped(sample(monitoring(), 17))
    made = resample(whole, 33)
    assert isinstance(made.lut, ShaperLut3D)
    np.testing.assert_array_equal(made.lut.shaper.table, whole.shaper.table)
    np.testing.assert_array_equal(made.lut.lut.table, resample(whole.lut, 33).lut.table)
    off = 1023 * np.abs(made.lut.apply(POINTS) - whole.apply(POINTS)).mean()
    assert made.error.mean == pytest.approx(off, rel=0.3)  # other random inputs of the same kind


def test_the_lattice_behind_a_shaper_is_repaired() -> None:
    table = sample(look(), 9).table.copy()
    table[[4, 5]] = table[[5, 4]]  # two planes have changed places
    assert folded(table).any()
    made = repair(shaped(Lut3D(table)), ["folds"], most=128)  # a step is 128 codes
    assert isinstance(made.lut, ShaperLut3D)
    assert not folded(made.lut.lut.table).any()
    assert made.change("folds") is not None


def test_what_is_mirrored_as_a_whole_is_no_fold_to_mend() -> None:
    mirrored = Lut3D(sample(look(), 9).table[::-1].copy())
    made = repair(mirrored, ["folds"])
    np.testing.assert_array_equal(made.lut.table, mirrored.table)
    change = made.change("folds_left")
    assert change is not None
    assert "is mirrored" in change.message


def test_what_cannot_be_resized_or_repaired_is_refused() -> None:
    curve = Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 5))
    for call, words in (
        (lambda: resample(sample(look(), 5), 1), "2 to 256"),
        (lambda: resample(sample(look(), 5), 9, "guess"), "accepted: linear"),
        (lambda: repair(curve), "only a 3D LUT can be repaired"),
        (lambda: repair(sample(look(), 5), fade=3), "above 0, up to 2"),
    ):
        with pytest.raises(LutbenchError, match=words):
            call()
