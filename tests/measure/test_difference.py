"""Test colours, views and the accuracy of a LUT."""

from __future__ import annotations

import subprocess
import sys

import colour
import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.measure.delta_e import view_of
from lutbench.measure.difference import Spread, accuracy, measure
from lutbench.measure.samples import (
    CHART_WHITE,
    SampledColours,
    chart24,
    chart_patches,
    neutral_ramp,
    nodes,
    random_points,
)
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.hdr import HlgScene, PqScene
from lutbench.model.curves.log import AcesCct
from lutbench.model.curves.video import Bt709, Srgb
from lutbench.model.gamuts import ACES_AP1, BT709, BT2020
from lutbench.tables.lut import Lut3D
from lutbench.tables.nodes import sample

TELEVISION = Encoding(Bt709(), BT709)
CCT = Encoding(AcesCct(), ACES_AP1)


def _registry_chart() -> tuple[tuple[str, ...], np.ndarray, np.ndarray]:
    """The 24-patch chart of colour-science, production after November 2014."""
    registry = next(
        getattr(colour, name) for name in dir(colour) if name.startswith("CCS_COLOURCH")
    )
    chart = registry["cca2014"]
    return tuple(chart.data), np.array(list(chart.data.values())), chart.illuminant


def test_the_shipped_chart_is_that_of_colour_science() -> None:
    names, xyy, white = _registry_chart()
    ours, xyz = chart24()
    assert ours == names
    np.testing.assert_allclose(xyz, colour.xyY_to_XYZ(xyy), atol=1e-15)
    np.testing.assert_allclose(CHART_WHITE, white, atol=1e-15)


def test_chart_signals_against_colour_science() -> None:
    _, xyy, white = _registry_chart()
    rgb = colour.XYZ_to_RGB(
        colour.xyY_to_XYZ(xyy),
        "ITU-R BT.2020",
        illuminant=white,
        chromatic_adaptation_transform="Bradford",
    )
    ours = chart_patches(Encoding(Srgb(), BT2020), stops=[0.0])
    expected = colour.models.eotf_inverse_sRGB(rgb)
    assert len(ours.signals) == 24
    # The registered matrix of BT.2020 is rounded to six places.
    np.testing.assert_allclose(ours.signals, expected, atol=2e-5)


def test_chart_exposures_leave_out_what_the_signal_cannot_carry() -> None:
    whole = chart_patches(CCT)
    assert len(whole.signals) == 7 * 24
    assert whole.label(0) == "dark skin -3 stops"
    assert whole.label(3 * 24) == "dark skin"
    narrow = chart_patches(TELEVISION)
    assert len(narrow.signals) < 7 * 24
    assert ((narrow.signals >= 0) & (narrow.signals <= 1)).all()


def test_other_test_colours() -> None:
    assert len(neutral_ramp().signals) == 1024
    assert (neutral_ramp().signals[:, 0] == neutral_ramp().signals[:, 2]).all()
    np.testing.assert_array_equal(random_points().signals, random_points().signals)
    assert (random_points(seed=1).signals != random_points(seed=2).signals).any()
    assert len(nodes(5).signals) == 125
    with pytest.raises(LutbenchError, match="empty"):
        SampledColours("none", np.empty((0, 3)))


@pytest.mark.parametrize(
    ("target", "signal", "luminance"),
    [
        # Recommendation ITU-R BT.1886 with 100 cd/m² white: 100·0.5^2.4
        (TELEVISION, 0.5, 18.946),
        # Recommendation ITU-R BT.2100 and Report ITU-R BT.2408, table 1: 58 % PQ and 75 % HLG
        # are 203 cd/m², 38 % HLG is 26 cd/m²
        (Encoding(PqScene(), BT2020), 0.58069, 203.0),
        (Encoding(HlgScene(), BT2020), 0.75, 203.0),
        (Encoding(HlgScene(), BT2020), 1.0, 1000.0),
        (Encoding(HlgScene(), BT2020), 0.38, 26.0),
    ],
)
def test_luminance_on_the_display(target: Encoding, signal: float, luminance: float) -> None:
    view = view_of(target)
    shown = view.xyz(np.full((1, 3), signal))[0, 1] * view.white_luminance
    assert shown == pytest.approx(luminance, rel=0.01)  # the table rounds to a percent


def test_hlg_view_against_colour_science() -> None:
    view = view_of(Encoding(HlgScene(), BT2020))
    signals = random_points(500).signals
    expected = colour.models.eotf_BT2100_HLG(signals, L_B=0, L_W=1000)
    np.testing.assert_allclose(
        view.light(signals) * view.white_luminance, expected, rtol=2e-4, atol=1e-6
    )


def test_legal_range_is_read_before_the_display() -> None:
    legal = view_of(Encoding(Bt709(), BT709, "legal"))
    shown = legal.light(np.array([[64 / 1023] * 3, [940 / 1023] * 3]))
    np.testing.assert_allclose(shown, [[0] * 3, [1] * 3], atol=1e-12)


def test_spread_has_the_figures_of_numpy() -> None:
    values = np.arange(1.0, 101.0)
    figures = Spread.of(values).to_data()
    assert figures == pytest.approx({"mean": 50.5, "p95": 95.05, "p99": 99.01, "max": 100.0})


def test_nothing_and_nan_are_never_a_small_difference() -> None:
    view = view_of(TELEVISION)
    grey = np.full((3, 3), 0.5)
    broken = grey.copy()
    broken[1, 1] = np.nan
    for a, b in ((broken, broken), (grey, broken), (broken, grey), (grey, grey[:2])):
        with pytest.raises(LutbenchError):
            measure(a, b, view)
    with pytest.raises(LutbenchError):
        measure(grey[:0], grey[:0], view)


def test_accuracy_of_a_lut_that_is_exact() -> None:
    found = accuracy(Lut3D.identity(9), Lut3D.identity(2), TELEVISION, TELEVISION)
    for spreads in found.sets.values():
        assert spreads["code_10bit"].max < 1e-9
        assert spreads["delta_e_2000"].max < 1e-9


def test_accuracy_grows_with_size_and_meets_an_independent_sum() -> None:
    exact = Conversion(CCT, TELEVISION).pipeline()
    means = [accuracy(sample(exact, n), exact, CCT, TELEVISION).error.mean for n in (9, 17, 33)]
    assert means == sorted(means, reverse=True)
    # The same figures with colour-science's own interpolation, Lab and ΔE.
    signals = random_points().signals
    lut = sample(exact, 17)
    interpolated = colour.LUT3D(lut.table).apply(
        signals, interpolator=colour.algebra.table_interpolation_tetrahedral
    )
    labs = [
        colour.XYZ_to_Lab(np.clip(out, 0, None) ** 2.4 @ BT709.to_xyz.T, BT709.white)
        for out in (interpolated, exact.apply(signals))
    ]
    expected = Spread.of(colour.delta_E(*labs, method="CIE 2000"))
    found = accuracy(lut, exact, CCT, TELEVISION).sets["random"]["delta_e_2000"]
    # colour-science interpolates in a table of float64 but places points with rounding.
    assert found.mean == pytest.approx(expected.mean, rel=1e-6)
    assert found.max == pytest.approx(expected.max, rel=1e-6)


def test_accuracy_of_standards_needs_no_colour_science() -> None:
    code = """
import sys
from lutbench.measure.difference import accuracy
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.log import AcesCct
from lutbench.model.curves.video import Bt709
from lutbench.model.gamuts import ACES_AP1, BT709
from lutbench.tables.nodes import sample
a, b = Encoding(AcesCct(), ACES_AP1), Encoding(Bt709(), BT709)
exact = Conversion(a, b).pipeline()
accuracy(sample(exact, 5), exact, a, b)
assert "colour" not in sys.modules and "scipy" not in sys.modules
"""
    subprocess.run([sys.executable, "-c", code], check=True)
