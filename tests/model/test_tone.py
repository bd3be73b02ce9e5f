"""Tone curve, EETF and gamut compression."""

from __future__ import annotations

import math
from itertools import pairwise

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.catalogue import Catalogue
from lutbench.model.compression import ACADEMY_LIMITS, ACADEMY_THRESHOLDS, GamutCompression
from lutbench.model.encoding import Encoding, meeting
from lutbench.model.gamuts import BT709
from lutbench.model.grade import Exposure
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.shoulder import ToneCurve

LIGHT = np.r_[0.0, np.geomspace(1e-5, 60, 4000)]


def grey(values: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    return np.repeat(np.asarray(values)[:, None], 3, axis=1)


@st.composite
def tones(draw: st.DrawFn) -> ToneCurve:
    contrast = draw(st.floats(0.5, 2.0))
    grey_out = draw(st.floats(0.08, 0.3))
    straight = math.log2(1 / grey_out) / contrast
    start = draw(st.floats(0.0, 0.9)) * straight
    return ToneCurve(
        grey_in=draw(st.floats(0.05, 0.4)),
        grey_out=grey_out,
        contrast=contrast,
        white=straight + draw(st.floats(0.0, 6.0)) + 1e-6,
        shoulder_start=start,
        toe_start=draw(st.floats(-6.0, 0.0)),
        toe=draw(st.floats(0.0, 3.0)),
    )


@settings(max_examples=60, deadline=None)
@given(tones())
def test_the_tone_curve_keeps_its_promises(tone: ToneCurve) -> None:
    result = tone.apply(grey(LIGHT))[:, 0]
    assert (np.diff(result) > 0).all()
    anchors = tone.apply(grey([0.0, tone.grey_in, tone.grey_in * 2**tone.white]))[:, 0]
    assert anchors == pytest.approx([0, tone.grey_out, 1.0], abs=1e-9)
    # Contrast is the slope in stops at mid grey, inside the straight part.
    around = tone.grey_in * 2.0 ** np.array([-1e-5, 1e-5])
    if tone.toe_start < -1e-3 and tone.shoulder_start > 1e-3:
        slope = np.diff(np.log2(tone.apply(grey(around))[:, 0]))[0] / 2e-5
        assert slope == pytest.approx(tone.contrast, rel=1e-4)
    # The shoulder flattens; float64 then still holds light to 1e-6 inside 0..white.
    inside = LIGHT[tone.grey_in * 2**tone.white > LIGHT]
    back = tone.inverse().apply(tone.apply(grey(inside)))[:, 0]
    assert back == pytest.approx(inside, rel=1e-6, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(tones())
def test_the_slope_of_the_tone_curve_does_not_jump(tone: ToneCurve) -> None:
    for knee in (tone.shoulder_start, tone.toe_start):
        u = knee + np.array([-2e-4, -1e-4, 0, 1e-4, 2e-4])
        v = np.log2(tone.apply(grey(tone.grey_in * 2.0**u))[:, 0])
        slopes = np.diff(v) / 1e-4
        # A slope in stops changes by less than curvature × step: both parts bend gently.
        assert np.ptp(slopes) < 0.05 * tone.contrast + 1e-3 * (1 + tone._bend)


def test_the_tone_curve_is_odd_under_zero() -> None:
    tone = ToneCurve(toe=0.5)
    assert tone.apply([-0.3, 0.0, 0.3]).tolist()[0] == -tone.apply([0.3, 0.0, 0.3]).tolist()[0]


@pytest.mark.parametrize(
    ("parameters", "message"),
    [
        ({"contrast": 0.0}, "contrast"),
        ({"white": 1.0}, "too low: a straight line"),
        ({"white": -1.0}, "not in this order"),
        ({"grey_out": 1.5}, "mid grey"),
        ({"toe": -1.0}, "toe"),
        ({"shoulder_start": 3.0, "white": 8.0}, "before the shoulder"),
        ({"white": float("nan")}, "white nan is out of range"),
    ],
)
def test_a_tone_that_is_none_is_refused(parameters: dict[str, float], message: str) -> None:
    with pytest.raises(DefinitionError, match=message):
        ToneCurve(**parameters)


def refused(source: Encoding, target: Encoding) -> bool:
    """HLG without a display against display light: it has to be named."""
    sides = {source.curve.name: source.side, target.curve.name: target.side}
    return "BT.2100 HLG" in sides and len(set(sides.values())) == 2


@pytest.mark.parametrize("target", ["BT.1886", "BT.709", "sRGB", "BT.2100 HLG", "BT.2100 PQ"])
def test_a_shoulder_fits_every_usable_source(target: str) -> None:
    known = Catalogue()
    for curve in known.usable_curves:
        for exposure in (-2.0, 0.0, 2.0):
            ends = Encoding(curve, BT709), Encoding(known.curve(target), BT709)
            if refused(*ends):
                continue
            tone = ToneCurve.between(*ends, exposure)
            top = tone.grey_in * 2**tone.white
            assert tone.apply(grey([top]))[0, 0] == pytest.approx(tone.white_out)
            brightest = ends[0].brightest(meeting(*ends).source)
            assert brightest * 2**exposure <= top * (1 + 1e-9)


def test_exposure_is_a_gain_of_two_a_stop() -> None:
    assert Exposure(-1.5).apply([1.0, 2.0, 4.0]) == pytest.approx([2**-1.5, 2**-0.5, 2**0.5])
    assert Exposure(2.0).inverse() == Exposure(-2.0)
    with pytest.raises(DefinitionError, match="accepted: -20 to 20"):
        Exposure(99)


def eetf_by_the_report(nits: float, source: float, target: float, black: float) -> float:
    """Report ITU-R BT.2390, section 5.4.1, one value at a time with colour-science's PQ."""

    def pq(value: float) -> float:
        return float(colour.models.eotf_inverse_ST2084(value, 10000))

    e1 = (pq(nits) - pq(0)) / (pq(source) - pq(0))
    min_lum = (pq(black) - pq(0)) / (pq(source) - pq(0))
    max_lum = (pq(target) - pq(0)) / (pq(source) - pq(0))
    ks = 1.5 * max_lum - 0.5
    if e1 < ks or ks >= 1:
        e2 = e1
    else:
        t = (e1 - ks) / (1 - ks)
        e2 = (
            (2 * t**3 - 3 * t**2 + 1) * ks
            + (t**3 - 2 * t**2 + t) * (1 - ks)
            + (-2 * t**3 + 3 * t**2) * max_lum
        )
    e3 = e2 + min_lum * (1 - e2) ** 4
    return float(colour.models.eotf_ST2084(e3 * (pq(source) - pq(0)) + pq(0), 10000))


@pytest.mark.parametrize(
    ("source", "target", "black"),
    [(1000.0, 203.0, 0.0), (4000.0, 600.0, 0.005), (10000.0, 100.0, 0.05), (1000.0, 1000.0, 0.0)],
)
def test_the_eetf_follows_the_report(source: float, target: float, black: float) -> None:
    nits = np.r_[0.0, 0.01, 1.0, 20.0, 90.0, 203.0, 0.5 * source, source]
    step = Eetf(source, target, 0.0, black)
    expected = [eetf_by_the_report(float(each), source, target, black) for each in nits]
    # pq(0) is 7e-7 in colour-science, 0 here: 1e-5 of a cd/m² at most near black.
    assert step.apply(grey(nits))[:, 0] == pytest.approx(expected, rel=2e-5, abs=1e-4)


def test_the_eetf_ends_at_the_target_peak_and_rises() -> None:
    step = Eetf(4000, 203)
    nits = np.linspace(0, 4000, 4000)
    shown = step.apply(grey(nits))[:, 0]
    assert shown[-1] == pytest.approx(203, rel=1e-9)
    assert (np.diff(shown) >= 0).all()
    with pytest.raises(NotInvertibleError):
        step.inverse()
    with pytest.raises(DefinitionError, match="target peak <= source peak"):
        Eetf(200, 1000)


def academy_compress(rgb: list[float]) -> list[float]:
    """The Academy reference gamut compression 1.3, one pixel at a time (from memory of the CTL)."""
    power = 1.2
    ach = max(rgb)
    out = []
    for value, threshold, limit in zip(rgb, ACADEMY_THRESHOLDS, ACADEMY_LIMITS, strict=True):
        distance = 0.0 if ach == 0 else (ach - value) / abs(ach)
        if distance >= threshold:
            scale = (limit - threshold) / (
                ((1 - threshold) / (limit - threshold)) ** -power - 1
            ) ** (1 / power)
            nd = (distance - threshold) / scale
            distance = threshold + scale * nd / (1 + nd**power) ** (1 / power)
        out.append(ach - distance * abs(ach))
    return out


def test_gamut_compression_follows_the_academy() -> None:
    rgb = np.random.default_rng(5).uniform(-0.5, 1.5, (500, 3))
    step = GamutCompression()
    expected = [academy_compress(pixel) for pixel in rgb.tolist()]
    assert step.apply(rgb) == pytest.approx(np.array(expected), abs=1e-12)
    # The published limits are the distances that come to the edge of the gamut.
    for channel, limit in enumerate(ACADEMY_LIMITS):
        pixel = np.ones(3)
        pixel[channel] = 1 - limit
        assert step.apply(pixel)[channel] == pytest.approx(0, abs=1e-12)
    assert step.apply([0.2, 0.2, 0.2]).tolist() == [0.2, 0.2, 0.2]


def test_gamut_compression_comes_back() -> None:
    rgb = np.random.default_rng(6).uniform(-0.2, 1.0, (500, 3))
    step = GamutCompression()
    assert step.inverse().apply(step.apply(rgb)) == pytest.approx(rgb, abs=1e-7)
    assert step.inverse().inverse() is step
    with pytest.raises(DefinitionError, match="threshold < 1 < limit"):
        GamutCompression(limits=(0.9, 1.2, 1.2))


def test_compression_is_monotone_in_distance() -> None:
    values = np.linspace(1.0, -2.0, 500)
    pixels = np.stack([np.ones(500), np.full(500, 0.5), values], axis=1)
    out = GamutCompression().apply(pixels)[:, 2]
    assert all(a > b for a, b in pairwise(out))
