"""Methods A and C of Report ITU-R BT.2446, derived a second time, one value at a time.

The constants are from memory of the Report on both sides; what they must agree with beyond
that stands beside each check: their own joints, peaks, and method A's two directions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from bt2446_by_steps import method_a, method_c
from hypothesis import given, settings
from hypothesis import strategies as st

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.tone.bt2446 import Bt2446A, Bt2446AUp, Bt2446C

COLOURS = np.random.default_rng(8).uniform(0, 1000, (400, 3))


def grey(values: list[float] | np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    return np.repeat(np.asarray(values, dtype=np.float64)[:, None], 3, axis=1)


@pytest.mark.parametrize(("source", "target"), [(1000.0, 100.0), (4000.0, 203.0)])
def test_method_a_follows_the_report(source: float, target: float) -> None:
    light = COLOURS * source / 1000
    expected = [method_a(each, source, target) for each in light.tolist()]
    # Beside the first joint the Report's pieces part by 6e-4 of Y'c; there the lower is taken:
    # 6e-4 of Y'c is 6e-4·2.4·ln ρ of a light at the peak; a saturated channel is up to twice that.
    near = 2 * 6e-4 * 2.4 * math.log(1 + 32 * (target / 10000) ** (1 / 2.4)) * target
    found = Bt2446A(source, target).apply(light)
    assert found == pytest.approx(np.array(expected), abs=near)
    assert np.median(np.abs(found - expected)) < 1e-9


def test_method_a_meets_its_ends_and_rises() -> None:
    tone = Bt2446A()
    assert tone.apply(grey([0.0, 1000.0]))[:, 0] == pytest.approx([0, 100], abs=1e-9)
    steps = np.diff(tone.apply(grey(np.linspace(0, 1000, 20001)))[:, 0])
    assert steps.min() > 0
    # No step at the joints: a twentieth of a cd/m² in makes no more than its own size out.
    assert steps.max() < 0.06


def test_method_a_s_two_directions_agree() -> None:
    """The Report's inverse tone mapping is a fit of its own, so its formula is a check of the
    tone mapping's: within 6 % of light from 5 to 100 cd/m²."""
    sdr = np.array([5.0, 10.0, 18.0, 36.0, 58.0, 80.0, 100.0])
    up = Bt2446AUp().apply(grey(sdr))[:, 0]
    back = Bt2446A().inverse().apply(grey(sdr))[:, 0]
    assert up == pytest.approx(back, rel=0.06)
    # The joint at 70 of 255: both powers are the same there to four digits.
    low, high = (Bt2446AUp().apply(grey([100 * (v / 255) ** 2.4]))[0, 0] for v in (69.999, 70.001))
    assert high == pytest.approx(low, rel=1e-3)
    with pytest.raises(NotInvertibleError):
        Bt2446AUp().inverse()


def up_by_the_report(rgb: list[float]) -> list[float]:
    r, g, b = ((v / 100) ** (1 / 2.4) for v in rgb)
    y = 255 * (0.2627 * r + 0.6780 * g + 0.0593 * b)
    low = 1.8712e-5 * y**2 - 2.7334e-3 * y + 1.3141
    high = 2.8305e-6 * y**2 - 7.4622e-4 * y + 1.2528
    yh = y ** (low if y <= 70 else high)
    sc = 1.075 * yh / y
    cb, cr = sc * (255 * b - y) / 1.8814, sc * (255 * r - y) / 1.4746
    r, b = yh + 1.4746 * cr, yh + 1.8814 * cb
    g = (yh - 0.2627 * r - 0.0593 * b) / 0.6780
    return [1000 * math.copysign(abs(v / 1000) ** 2.4, v) for v in (r, g, b)]


def test_method_a_up_follows_the_report() -> None:
    light = COLOURS / 10
    expected = np.array([up_by_the_report(each) for each in light.tolist()])
    assert Bt2446AUp().apply(light) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("alpha", [0.0, 0.04, 0.2])
def test_method_c_follows_the_report(alpha: float) -> None:
    expected = np.array([method_c(each, alpha) for each in COLOURS.tolist()])
    # The pieces part by 0.035 % of SDR at the joint; the lower one is taken.
    scale = expected / np.maximum(COLOURS, 1e-9)
    found = Bt2446C(alpha).apply(COLOURS)
    assert np.abs(found / np.maximum(COLOURS, 1e-9) / scale - 1).max() < 1e-3
    assert np.median(np.abs(found - expected)) < 1e-9


def test_method_c_meets_its_anchors() -> None:
    """58.5 % at the joint is in the Report; 203 cd/m² at 91 % of light is 96 % of signal."""
    tone = Bt2446C()
    found = tone.apply(grey([58.5 / 0.83802, 203.0]))[:, 0]
    assert found[0] == pytest.approx(58.5, abs=0.04)
    assert (found[1] / 100) ** (1 / 2.4) == pytest.approx(0.96, abs=0.005)
    steps = np.diff(tone.apply(grey(np.linspace(0, 1000, 20001)))[:, 0])
    assert steps.min() > 0
    assert steps.max() <= 0.83802 * 0.05 + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 0.33), st.floats(48, 203), st.floats(203, 10000), st.integers(0, 999))
def test_both_come_back(alpha: float, target: float, source: float, seed: int) -> None:
    light = np.random.default_rng(seed).uniform(0, source, (100, 3))
    for tone in (Bt2446A(source, target), Bt2446C(alpha, target)):
        back = tone.inverse().apply(tone.apply(light))
        assert back == pytest.approx(light, rel=1e-7, abs=1e-7 * source)
        assert tone.inverse().inverse() is tone
        ramp = grey(np.linspace(0, source, 50))
        assert np.ptp(tone.apply(ramp), axis=1) == pytest.approx(0, abs=1e-9 * source)


def test_settings_that_are_none_are_refused() -> None:
    with pytest.raises(DefinitionError, match="target peak"):
        Bt2446A(100, 1000)
    with pytest.raises(DefinitionError, match="crosstalk"):
        Bt2446C(0.4)
