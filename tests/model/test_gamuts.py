"""Gamuts against the Recommendations' matrices and against colour-science."""

from __future__ import annotations

import itertools

import colour
import numpy as np
import pytest

from lutbench.errors import DefinitionError, LutbenchError, UnknownNameError
from lutbench.model.catalogue import Catalogue
from lutbench.model.gamuts import (
    ACES_AP0,
    ACES_AP1,
    BT709,
    BT2020,
    DCI_P3,
    P3_D65,
    STANDARD_GAMUTS,
    WHITES,
    XYZ,
    Gamut,
    adaptation_matrix,
    conversion,
)

CATALOGUE = Catalogue()


def test_published_matrices() -> None:
    # Recommendation ITU-R BT.2087, four decimals
    assert conversion(BT709, BT2020).array == pytest.approx(
        np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]),
        abs=5.1e-5,
    )
    # Report ITU-R BT.2407, four decimals
    assert conversion(BT2020, BT709).array == pytest.approx(
        np.array(
            [[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]]
        ),
        abs=1.01e-4,
    )


def test_published_luminance_weights() -> None:
    # Recommendations ITU-R BT.709-6 (item 3.2) and BT.2020-2 (table 4): four decimals
    assert BT709.luminance_weights == pytest.approx((0.2126, 0.7152, 0.0722), abs=5.1e-5)
    assert BT2020.luminance_weights == pytest.approx((0.2627, 0.6780, 0.0593), abs=5.1e-5)
    # Academy S-2014-004: AP1 to XYZ, second row, ten decimals
    assert ACES_AP1.luminance_weights == pytest.approx(
        (0.2722287168, 0.6740817658, 0.0536895174), abs=5.1e-11
    )


@pytest.mark.parametrize("adaptation", ["Bradford", "CAT02", "CAT16"])
def test_every_gamut_pair_agrees_with_colour_science(adaptation: str) -> None:
    gamuts = [entry.gamut for entry in CATALOGUE.gamuts() if entry.gamut]
    assert len(gamuts) > 40
    npm = {
        gamut.name: colour.normalised_primary_matrix(
            np.array(gamut.primaries), np.array(gamut.white)
        )
        for gamut in gamuts
    }
    for source, target in itertools.product(gamuts, gamuts[::3]):
        adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            colour.xy_to_XYZ(np.array(source.white)),
            colour.xy_to_XYZ(np.array(target.white)),
            transform=adaptation,
        )
        reference = np.linalg.inv(npm[target.name]) @ adapt @ npm[source.name]
        ours = conversion(source, target, adaptation).array
        assert ours == pytest.approx(reference, abs=1e-9), (source.name, target.name)
        # White-preserving, so neutrals stay neutral.
        assert ours.sum(axis=1) == pytest.approx(1, abs=1e-9)


def test_registered_spaces_hold_the_same_primaries_under_one_name() -> None:
    for name, space in colour.RGB_COLOURSPACES.items():
        gamut = CATALOGUE.gamut(name)
        # Names are joined when primaries and white agree to published rounding.
        assert np.array(gamut.primaries) == pytest.approx(space.primaries, abs=1e-4), name
        assert np.array(gamut.white) == pytest.approx(space.whitepoint, abs=1e-4), name
    assert CATALOGUE.gamut("srgb") is BT709
    assert CATALOGUE.gamut("acescg") is ACES_AP1
    assert CATALOGUE.gamut("aces2065-1") is ACES_AP0


def test_without_adaptation_the_colour_itself_is_kept() -> None:
    matrix = conversion(DCI_P3, P3_D65, "none").array
    xyz = DCI_P3.to_xyz @ np.array([0.3, 0.5, 0.2])
    assert P3_D65.to_xyz @ (matrix @ np.array([0.3, 0.5, 0.2])) == pytest.approx(xyz, abs=1e-12)


def test_xyz_is_the_identity() -> None:
    assert pytest.approx(np.eye(3), abs=1e-12) == XYZ.to_xyz


def test_the_same_gamut_is_exactly_the_identity() -> None:
    for gamut in STANDARD_GAMUTS:
        assert (conversion(gamut, gamut).array == np.eye(3)).all()


def test_a_gamut_of_lists_is_that_of_tuples() -> None:
    points = [list(each) for each in BT2020.primaries]
    listed = Gamut(BT2020.name, points, list(BT2020.white), BT2020.source)  # type: ignore[arg-type]
    assert listed == BT2020
    assert conversion(listed, BT709) == conversion(BT2020, BT709)


def test_conversion_and_back() -> None:
    for source, target in itertools.permutations(STANDARD_GAMUTS, 2):
        both = conversion(source, target) | conversion(target, source)
        assert both.apply(np.eye(3)) == pytest.approx(np.eye(3), abs=1e-9)
        assert conversion(source, target).inverse().array == pytest.approx(
            conversion(target, source).array, abs=1e-9
        )


def test_no_adaptation_between_equal_whites_is_adaptation() -> None:
    assert adaptation_matrix(WHITES["D65"], WHITES["D65"]) == pytest.approx(np.eye(3), abs=1e-12)


@pytest.mark.parametrize(
    ("primaries", "white", "message"),
    [
        (((0.1, 0.1), (0.2, 0.2), (0.3, 0.3)), (0.2, 0.2), "degenerate"),
        (((0.64, 0.33), (0.3, 0.6), (0.15, 0.06)), (0.7, 0.3), "outside the triangle"),
        (((0.64, 0.33), (0.3, 0.6), (0.15, 0.06)), (0.3, 0.0), "white of y"),
        (((0.64, float("nan")), (0.3, 0.6), (0.15, 0.06)), (0.3, 0.3), "not four xy points"),
    ],
)
def test_a_gamut_that_is_none_is_refused(primaries, white, message) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DefinitionError, match=message):
        Gamut("bad", primaries, white)


def test_unknown_names_get_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match=r"accepted: .*P3-D65"):
        CATALOGUE.gamut("P3 D65")
    with pytest.raises(LutbenchError, match="accepted: bradford, CAT02, CAT16, none"):
        conversion(BT709, DCI_P3, "cat97")
