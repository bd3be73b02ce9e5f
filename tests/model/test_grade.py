"""ASC CDL, saturation and white balance."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.gamuts import BT709, BT2020, conversion
from lutbench.model.grade import (
    CDL_WEIGHTS,
    Cdl,
    Saturation,
    gains,
    illuminant_xy,
    planckian_xy,
    white_balance,
)

colours = arrays(np.float64, (8, 3), elements=st.floats(0, 1))


def cdl_by_the_text(rgb: list[float], cdl: Cdl) -> list[float]:
    """ASC CDL 1.2 one value at a time: clamp((in·slope + offset))^power, saturation, clamp."""
    out = []
    for value, s, o, p in zip(rgb, cdl.slope, cdl.offset, cdl.power, strict=True):
        out.append(min(max(value * s + o, 0.0), 1.0) ** p)
    luma = sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), out, strict=True))
    return [min(max(luma + cdl.saturation * (value - luma), 0.0), 1.0) for value in out]


@settings(max_examples=60, deadline=None)
@given(
    colours,
    st.tuples(*[st.floats(0, 3)] * 3),
    st.tuples(*[st.floats(-0.5, 0.5)] * 3),
    st.tuples(*[st.floats(0.2, 3)] * 3),
    st.floats(0, 3),
)
def test_cdl_follows_version_1_2(rgb, slope, offset, power, saturation) -> None:  # type: ignore[no-untyped-def]
    cdl = Cdl(slope, offset, power, saturation)
    expected = [cdl_by_the_text(pixel, cdl) for pixel in rgb.tolist()]
    assert cdl.apply(rgb) == pytest.approx(np.array(expected), abs=1e-12)


def test_the_no_clamp_form_keeps_what_is_outside() -> None:
    cdl = Cdl((1.0,) * 3, (-0.2,) * 3, (2.0,) * 3, clamp=False)
    # Common LUT Format, noClamp: a negative base passes the power unchanged.
    assert cdl.apply([0.1, 0.7, 1.7]) == pytest.approx([-0.1, 0.25, 2.25], abs=1e-12)


@pytest.mark.parametrize("clamp", [True, False])
def test_cdl_comes_back(clamp: bool) -> None:
    cdl = Cdl((1.1, 0.9, 1.0), (0.02, 0.01, 0.03), (1.2, 0.9, 1.0), 1.1, clamp)
    rgb = np.random.default_rng(3).uniform(0.2, 0.6, (50, 3))
    assert cdl.inverse().apply(cdl.apply(rgb)) == pytest.approx(rgb, abs=1e-12)
    assert cdl.inverse().inverse() is cdl
    with pytest.raises(NotInvertibleError):
        Cdl(saturation=0.0).inverse()


@pytest.mark.parametrize(
    "bad",
    [
        {"slope": (-1.0, 1, 1)},
        {"power": (0.0, 1, 1)},
        {"saturation": -0.1},
        {"offset": (float("nan"), 0, 0)},
    ],
)
def test_a_cdl_out_of_limits_is_refused(bad) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DefinitionError, match="CDL"):
        Cdl(**bad)


def test_saturation_keeps_luminance() -> None:
    rgb = np.random.default_rng(4).random((20, 3))
    weights = np.array(CDL_WEIGHTS)
    assert Saturation(1.7).apply(rgb) @ weights == pytest.approx(rgb @ weights, abs=1e-12)
    assert Saturation(0.5).inverse().apply(Saturation(0.5).apply(rgb)) == pytest.approx(rgb)
    assert np.ptp(Saturation(0.0).apply(rgb), axis=1) == pytest.approx(np.zeros(20), abs=1e-12)


@pytest.mark.parametrize("kelvin", [1700, 2222, 3200, 4000, 4001, 5600, 6504, 10000, 25000])
def test_planckian_locus_agrees_with_colour_science(kelvin: float) -> None:
    reference = colour.temperature.CCT_to_xy_Kang2002(kelvin)
    assert planckian_xy(kelvin) == pytest.approx(tuple(reference), abs=1e-12)


@pytest.mark.parametrize("kelvin", [2500.0, 3200.0, 5600.0, 9000.0])
@pytest.mark.parametrize("tint", [-20.0, -5.0, 5.0, 20.0])
def test_tint_is_duv(kelvin: float, tint: float) -> None:
    """colour-science finds the same distance from the locus (Ohno, 2013)."""
    xy = np.array(illuminant_xy(kelvin, tint))
    uv = colour.UCS_to_uv(colour.XYZ_to_UCS(colour.xy_to_XYZ(xy)))
    duv = colour.temperature.uv_to_CCT_Ohno2013(uv)[1]
    # Kang's polynomial is within 5e-4 of the locus that Ohno's method integrates.
    assert duv == pytest.approx(tint * 1e-3, abs=8e-4)


@pytest.mark.parametrize("gamut", [BT709, BT2020], ids=lambda each: each.name)
def test_white_balance_makes_the_light_neutral(gamut) -> None:  # type: ignore[no-untyped-def]
    """A grey card under the warm light, as a camera balanced for daylight records it."""
    light, daylight = illuminant_xy(3200, 4.0), illuminant_xy(5600)
    to_frame = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(np.array(daylight)),
        colour.xy_to_XYZ(np.array(gamut.white)),
        transform="Bradford",
    )
    recorded = np.linalg.inv(gamut.to_xyz) @ to_frame @ colour.xy_to_XYZ(np.array(light))
    assert recorded[0] > recorded[2] * 1.5
    balanced = white_balance(gamut, 3200, 4.0).apply(recorded)
    assert np.ptp(balanced) < 1e-9


def test_white_balance_of_the_balanced_light_is_nothing() -> None:
    assert white_balance(BT709, 5600).array == pytest.approx(np.eye(3), abs=1e-12)
    assert (conversion(BT709, BT2020) | gains(1, 1, 1)).apply([1, 1, 1]) == pytest.approx(1)


def test_white_balance_out_of_limits() -> None:
    with pytest.raises(DefinitionError, match="1667 to 25000"):
        white_balance(BT709, 1000)
    with pytest.raises(DefinitionError, match="-50 to 50"):
        white_balance(BT709, 5000, 90)
    with pytest.raises(DefinitionError, match="up to 100"):
        gains(1, 0, 1)
