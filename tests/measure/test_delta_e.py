"""ΔE 2000 against the published pairs, ΔE ITP against BT.2124 computed with colour-science."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from lutbench.measure.delta_e import delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz

# Sharma, Wu and Dalal (2005), table 1: L*a*b* of the two colours, ΔE 2000 to four decimals.
SHARMA = np.array(
    [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)


@pytest.mark.parametrize("pair", SHARMA, ids=[f"pair {n}" for n in range(1, 35)])
def test_published_pairs_of_delta_e_2000(pair: np.ndarray) -> None:
    assert abs(delta_e_2000(pair[:3], pair[3:6]) - pair[6]) <= 0.5e-4 + 1e-9  # four decimals
    assert delta_e_2000(pair[3:6], pair[:3]) == pytest.approx(delta_e_2000(pair[:3], pair[3:6]))


def test_delta_e_2000_against_colour_science() -> None:
    rng = np.random.default_rng(7)
    a = rng.uniform([0, -120, -120], [100, 120, 120], (20_000, 3))
    b = np.where(rng.random((20_000, 1)) < 0.5, a + rng.normal(0, 2, a.shape), rng.permutation(a))
    np.testing.assert_allclose(
        delta_e_2000(a, b), colour.delta_E(a, b, method="CIE 2000"), atol=1e-9
    )


def test_shapes_and_zero() -> None:
    lab = np.random.default_rng(1).uniform(-50, 50, (4, 5, 3))
    assert delta_e_2000(lab, lab).shape == (4, 5)
    assert (delta_e_2000(lab, lab) == 0).all()
    assert np.isnan(delta_e_2000([50, np.nan, 0], [50, 0, 0]))


def test_lab_against_colour_science() -> None:
    xyz = np.random.default_rng(2).uniform(0, 1.2, (5000, 3)) ** 3
    white_xy = np.array([0.3127, 0.3290])
    white = colour.xy_to_XYZ(white_xy)
    np.testing.assert_allclose(
        lab_from_xyz(xyz, white), colour.XYZ_to_Lab(xyz, white_xy), atol=1e-9
    )


def test_delta_e_itp_against_its_definition_computed_with_colour_science() -> None:
    # Recommendation ITU-R BT.2124-0: I T P from ICtCp with T = Ct / 2, 720·√(ΔI² + ΔT² + ΔP²).
    rng = np.random.default_rng(3)
    rgb_a = 10_000 * rng.random((4000, 3)) ** 4
    rgb_b = rgb_a * rng.uniform(0.9, 1.1, rgb_a.shape)
    to_xyz = colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_RGB_to_XYZ
    ictcp_a, ictcp_b = (
        colour.RGB_to_ICtCp(rgb, method="ITU-R BT.2100-2 PQ") for rgb in (rgb_a, rgb_b)
    )
    expected = 720 * np.sqrt((((ictcp_a - ictcp_b) * [1, 0.5, 1]) ** 2).sum(axis=-1))
    ours = delta_e_itp(*(itp_from_xyz(rgb @ to_xyz.T) for rgb in (rgb_a, rgb_b)))
    # The registered matrix to XYZ is rounded to six places; it moves I T P by as much.
    np.testing.assert_allclose(ours, expected, rtol=2e-4, atol=2e-3)
    np.testing.assert_allclose(
        delta_e_itp(*(ictcp * [1, 0.5, 1] for ictcp in (ictcp_a, ictcp_b))),
        colour.delta_E(ictcp_a, ictcp_b, method="ITP"),
        atol=1e-9,
    )
