"""Tone on the largest channel, on luminance and on intensity.

Outside references: colour-science's ICtCp and Report ITU-R BT.2390's factor for Ct and Cp,
one colour at a time; that chromaticity stays follows from the definition.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.gamuts import BT709, BT2020, Gamut
from lutbench.model.tone.carrier import CARRIERS, Carried
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.shoulder import ToneCurve

WAYS = [each for each in CARRIERS if each != "channels"]
COLOURS = np.random.default_rng(4).uniform(0, 1000, (300, 3))


def eetf(on: str, blend: float = 0.0) -> Eetf:
    return Eetf(1000.0, 203.0, on=on, blend=blend)


@pytest.mark.parametrize("gamut", [BT709, BT2020], ids=lambda each: each.name)
@pytest.mark.parametrize("on", WAYS)
@pytest.mark.parametrize("blend", [0.0, 1.0])
def test_greys_go_as_on_channels(on: str, blend: float, gamut: Gamut) -> None:
    grey = np.repeat(np.linspace(0, 1000, 300)[:, None], 3, axis=1)
    carried = Carried(eetf(on, blend), gamut).apply(grey)
    # ICtCp's matrices are rounded to 4096ths: a grey comes back within 1e-4 of itself.
    assert carried == pytest.approx(Eetf(1000.0, 203.0).apply(grey), rel=2e-4, abs=2e-4)


@pytest.mark.parametrize("on", ["largest", "luminance"])
def test_chromaticity_stays(on: str) -> None:
    dark = COLOURS / 20  # no channel is over the peak, so nothing is drawn in
    carried = eetf(on).apply(dark)
    ratio = carried / dark
    assert np.ptp(ratio, axis=1) == pytest.approx(0, abs=1e-12)


def test_intensity_is_bt_2390_s() -> None:
    tone = eetf("intensity")
    light = COLOURS / 10
    found = tone.apply(light)
    before = colour.RGB_to_ICtCp(light, method="ITU-R BT.2100-2 PQ")
    neutral = colour.models.eotf_ST2084(before[:, 0])
    after_i = colour.models.eotf_inverse_ST2084(
        Eetf(1000.0, 203.0).apply(np.repeat(neutral[:, None], 3, 1))[:, 0]
    )
    factor = np.minimum(before[:, 0] / after_i, after_i / before[:, 0])
    wanted = np.stack([after_i, before[:, 1] * factor, before[:, 2] * factor], axis=1)
    expected = colour.ICtCp_to_RGB(wanted, method="ITU-R BT.2100-2 PQ")
    fits = expected.max(axis=1) <= 203
    assert fits.sum() > 200
    assert found[fits] == pytest.approx(expected[fits], rel=1e-5, abs=1e-5)
    assert found.max() <= 203 + 1e-9


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(WAYS),
    st.floats(0, 1),
    st.tuples(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1)),
    st.booleans(),
)
def test_light_rises_along_every_ray_from_black(
    on: str, blend: float, ray: tuple[float, float, float], shoulder: bool
) -> None:
    direction = np.array(ray) + 1e-3
    direction /= direction.max()
    tone = (
        ToneCurve(white=4.0, on=on, blend=blend)
        if shoulder
        else Eetf(1000.0, 203.0, on=on, blend=blend)
    )
    top = 4.0 if shoulder else 1000.0
    light = np.linspace(0, top, 1500)[:, None] * direction
    carried = tone.apply(light)
    largest = carried.max(axis=1)
    # Cp and Ct may bend a lesser channel of ICtCp back a little; the brightest never falls.
    assert (np.diff(largest) >= -1e-9 * top).all()
    if on != "intensity":
        assert (np.diff(carried, axis=0) >= -1e-9 * top).all()
    # No step: one 1500th of the range makes no more than some of its own size.
    assert np.abs(np.diff(carried, axis=0)).max() < 6 * top / 1500


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 0.9), st.integers(0, 99))
def test_a_shoulder_on_the_largest_channel_comes_back(blend: float, seed: int) -> None:
    tone = ToneCurve(white=5.0, on="largest", blend=blend)
    light = np.random.default_rng(seed).uniform(0, 0.18 * 2**4.5, (200, 3))
    back = tone.inverse()
    assert back.apply(tone.apply(light)) == pytest.approx(light, rel=1e-6, abs=1e-9)
    assert back.inverse() == Carried(tone)


def test_beyond_the_display_a_blend_goes_to_white() -> None:
    red = [[1000.0, 10.0, 10.0]]
    plain, half, whole = (eetf("largest", b).apply(red)[0] for b in (0.0, 0.5, 1.0))
    assert plain[1] < half[1] < whole[1] < 203
    assert [each[0] for each in (plain, half, whole)] == pytest.approx([203] * 3)
    dim = [[150.0, 10.0, 10.0]]
    assert eetf("largest", 1.0).apply(dim) == pytest.approx(eetf("largest").apply(dim))


def test_what_is_none_is_refused() -> None:
    with pytest.raises(DefinitionError, match="channels, largest, luminance, intensity"):
        Eetf(on="hue")
    with pytest.raises(DefinitionError, match="a blend of"):
        ToneCurve(blend=0.5)
    for tone in (eetf("largest"), ToneCurve(on="luminance"), ToneCurve(on="intensity")):
        with pytest.raises(NotInvertibleError):
            tone.inverse()
