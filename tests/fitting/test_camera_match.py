"""Camera match on a measured chart under measured sensitivities and illuminants.

The patches are integrals of colour-science's measured reflectances of a 24-patch
chart, its measured camera sensitivities and CIE illuminants: two cameras that no
matrix brings together exactly, as in life. ΔE 2000 checked against colour-science.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from lutbench import LutbenchError
from lutbench.fitting.camera_match import match_cameras
from lutbench.measure.samples import chart24, chart_light
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.gamuts import BT709, BT2020

Array = NDArray[np.float64]
CURVES = open_catalogue(user=False)
LOG = CURVES.curve("ACEScct")
END = Encoding(LOG, BT2020)
SHAPE = colour.SpectralShape(400, 680, 10)
CHARTS = [each for each in colour.SDS_COLOURCHECKERS.values() if len(each) == 24]
CAMERAS = list(colour.MSDS_CAMERA_SENSITIVITIES.values())


def shot(camera: int, illuminant: str, chart: int = 0) -> Array:
    """Linear camera R G B of the 24 patches, green 1 for a perfect diffuser."""
    sensitivity = CAMERAS[camera].copy().align(SHAPE).values
    light = colour.SDS_ILLUMINANTS[illuminant].copy().align(SHAPE).values
    patches = np.array([each.copy().align(SHAPE).values for each in CHARTS[chart].values()])
    return np.asarray((patches * light) @ sensitivity / (light @ sensitivity[:, 1]))


def balanced(light: Array) -> Array:
    return light / light[18] * 0.9


@pytest.mark.parametrize(
    ("first", "second"), [((0, "D65"), (1, "D65")), ((0, "A"), (1, "D65")), ((1, "D55"), (0, "A"))]
)
def test_two_cameras(first: tuple[int, str], second: tuple[int, str]) -> None:
    source, target = 0.6 * shot(*first), balanced(shot(*second))
    match = match_cameras(LOG.encode(source), LOG.encode(target), END, END)
    before, after = match.spread("before"), match.spread("after")
    assert before.mean > 10
    # Single-light matrices of cameras are known to reach a mean of 1 to 2 (common practice).
    assert after.mean < 2
    assert after.mean < match.spread("left_out").mean < 1.5 * after.mean + 0.3
    np.testing.assert_allclose(match.matrix.sum(axis=1), 1, atol=1e-12)
    # The exposure and balance that white needs, to within what the patches disagree on.
    gains = np.array(match.white_balance) * 2**match.exposure_stops
    np.testing.assert_allclose(source[18] * gains, target[18], rtol=0.06)


def test_errors_are_those_of_colour_science() -> None:
    source, target = shot(0, "D65"), balanced(shot(1, "D65"))
    match = match_cameras(LOG.encode(source), LOG.encode(target), END, END)
    found = LOG.decode(match.transform.apply(LOG.encode(source)))

    def lab(light: Array) -> Array:
        xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        return np.asarray(colour.XYZ_to_Lab(light @ BT2020.to_xyz.T, xy))

    theirs = colour.delta_E(lab(found), lab(target), method="CIE 2000")
    # The white points agree to the rounding of D65's xy.
    np.testing.assert_allclose([each.after for each in match.patches], theirs, atol=1e-3)


def test_a_matrix_between_the_two_is_found_again() -> None:
    light = chart_light(BT2020)
    matrix = np.array([[0.9, 0.15, -0.05], [0.05, 0.9, 0.05], [0.0, -0.1, 1.1]])
    gains = np.array([1.8, 1.0, 0.7]) * 2**0.75
    target = (light * gains) @ matrix.T
    match = match_cameras(LOG.encode(light), LOG.encode(target), END, END)
    np.testing.assert_allclose(match.matrix, matrix, atol=2e-3)
    np.testing.assert_allclose(match.white_balance, gains / gains[1], rtol=2e-3)
    assert match.exposure_stops == pytest.approx(0.75, abs=0.005)
    assert match.spread("after").max < 0.05
    assert match.spread("left_out").max < 0.1


def test_published_values_of_the_chart() -> None:
    """One camera to colour-science's published values: what a colourist does on a test day."""
    target = Encoding(CURVES.curve("BT.1886"), BT709)
    wanted = target.curve.encode(chart_light(BT709))
    names = chart24()[0]
    match = match_cameras(LOG.encode(shot(0, "D55")), wanted, END, target, names=names)
    # Another production of the chart, another light: still a match to within ΔE 3.
    assert match.spread("after").mean < 3
    assert match.patches[0].name == names[0]
    # Published in linear light over 1 nowhere; cyan is outside BT.709 and stays in.
    assert all(each.used for each in match.patches)


def test_few_patches_show_as_over_fitted() -> None:
    random = np.random.default_rng(0)
    source, target = shot(0, "A"), balanced(shot(1, "D65"))
    noisy = target * np.exp(random.normal(0, 0.06, target.shape))
    few = [0, 3, 7, 10, 12, 15, 17, 19]
    match = match_cameras(LOG.encode(source[few]), LOG.encode(noisy[few]), END, END, residual=True)
    assert match.spread("left_out").mean > 1.5 * match.spread("after").mean
    assert any("over-fitted" in note for note in match.notes)


def test_residual_takes_what_a_matrix_cannot() -> None:
    light = chart_light(BT2020)
    signal = LOG.encode(light)
    bent = signal.copy()
    centre = signal[[0, 1, 6, 11]].mean(axis=0)  # skins and oranges shifted
    distance = ((signal - centre) ** 2).sum(axis=1)
    bent += 0.02 * np.exp(-distance / 0.02)[:, None] * [1.0, -1.0, 0.5]
    plain = match_cameras(signal, bent, END, END)
    shaped = match_cameras(signal, bent, END, END, residual=True)
    assert shaped.spread("after").mean < 0.7 * plain.spread("after").mean
    assert shaped.residual_rms > 0
    # Nothing happens far from the patches.
    far = np.array([[0.99, 0.01, 0.99]])
    bare = plain.transform.apply(far)
    assert np.abs(shaped.transform.apply(far) - bare).max() < 0.05


def test_lut_is_the_transform() -> None:
    source, target = shot(0, "D65"), balanced(shot(1, "D65"))
    match = match_cameras(LOG.encode(source), LOG.encode(target), END, END)
    lut = match.lut(33, title="match")
    wanted = np.clip(match.transform.apply(LOG.encode(source)), 0, 1)
    assert np.abs(lut.apply(LOG.encode(source)) - wanted).mean() * 1023 < 2
    assert lut.title == "match"


def test_clipped_patches_are_left_out_and_named() -> None:
    source, target = LOG.encode(shot(0, "D65")), LOG.encode(balanced(shot(1, "D65")))
    source[18] = 1.0
    names = tuple(CHARTS[0])
    match = match_cameras(source, target, END, END, names=names)
    assert not match.patches[18].used
    assert any(names[18] in note for note in match.notes)
    assert match.spread("after").mean < 2


def test_what_cannot_be_matched_is_refused() -> None:
    source, target = LOG.encode(shot(0, "D65")), LOG.encode(shot(1, "D65"))
    with pytest.raises(LutbenchError, match="same patches in the same order"):
        match_cameras(source[::-1], target, END, END)
    with pytest.raises(LutbenchError, match="do not match"):
        match_cameras(source[:10], target, END, END)
    with pytest.raises(LutbenchError, match="5 of 5 patches"):
        match_cameras(source[:5], target[:5], END, END)
    with pytest.raises(LutbenchError, match="NaN"):
        match_cameras(source * np.nan, target, END, END)
