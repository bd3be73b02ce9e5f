"""The open family of display transforms.

Its formula is our own writing of a form in common use, so what is checked is what it says:
anchors, slope, ends, inverse, and greys that stay grey. scipy's root finder derives the
scale of each side a second time.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from lutbench.errors import DefinitionError
from lutbench.model.gamuts import BT709, BT2020
from lutbench.model.tone.sigmoid import Sigmoid, mixing


@st.composite
def sigmoids(draw: st.DrawFn) -> Sigmoid:
    share = st.floats(0, 0.5)
    return Sigmoid(
        grey_in=draw(st.floats(0.05, 0.4)),
        grey_out=draw(st.floats(0.1, 0.25)),
        below=draw(st.floats(8, 14)),
        above=draw(st.floats(6, 10)),
        contrast=draw(st.floats(1.3, 2.0)),
        toe=draw(st.floats(0.8, 2.5)),
        shoulder=draw(st.floats(0.8, 2.5)),
        gamma=draw(st.floats(2.0, 2.6)),
        inset_red=draw(st.floats(0.2, 0.5)),
        inset_green=draw(share),
        inset_blue=draw(share),
        turn_red=draw(st.floats(-10, 10)),
        outset_red=draw(st.floats(0, 0.3)),
        outset_blue=draw(st.floats(0, 0.3)),
    )


def ramp(tone: Sigmoid, count: int = 400) -> np.ndarray:  # type: ignore[type-arg]
    stops = np.linspace(-tone.below, tone.above, count)
    return np.asarray(np.repeat(tone.grey_in * 2.0 ** stops[:, None], 3, axis=1))


@settings(max_examples=50, deadline=None)
@given(sigmoids())
def test_it_does_what_it_says(tone: Sigmoid) -> None:
    found = tone.apply(ramp(tone))
    # Greys stay grey to the rounding of two matrices.
    assert np.ptp(found, axis=1).max() < 1e-9
    assert (np.diff(found[:, 0]) > -1e-12).all()
    assert found[[0, -1], 0] == pytest.approx([0, 1], abs=1e-9)
    grey = tone.apply([tone.grey_in] * 3)
    assert grey == pytest.approx([tone.grey_out] * 3, abs=1e-9)
    around = tone.apply(np.repeat(tone.grey_in * 2.0 ** np.array([[-1e-4], [1e-4]]), 3, axis=1))
    slope = np.diff(np.log2(around[:, 0]))[0] / 2e-4
    # Both sides have the slope of grey there, whatever bends them further out; soft ends
    # (a power under 1) begin to bend at once.
    assert slope == pytest.approx(tone.contrast, rel=0.02)


@settings(max_examples=30, deadline=None)
@given(sigmoids(), st.integers(0, 99))
def test_it_comes_back(tone: Sigmoid, seed: int) -> None:
    stops = np.random.default_rng(seed).uniform(-4, 4, (100, 3))
    light = tone.grey_in * 2.0**stops
    light = light[
        (mixing(BT2020, (tone.inset_red, 0, 0), (tone.turn_red, 0, 0)).apply(light) > 0).all(axis=1)
    ]
    # In float64 toe and shoulder hold light to 1e-6 two stops from their ends.
    assert tone.inverse().apply(tone.apply(light)) == pytest.approx(light, rel=1e-5)


def test_the_scale_of_a_side_meets_its_end() -> None:
    tone = Sigmoid(shoulder=2.0)
    at, grey = tone._grey
    length, rise = 1 - at, 1 - grey

    def missed(scale: float) -> float:
        t = tone._slope * length / scale
        return scale * t / (1 + t**2) ** 0.5 - rise

    assert tone._scale(length, rise, 2.0) == pytest.approx(brentq(missed, 1e-3, 100), rel=1e-9)


def test_an_inset_moves_primaries_and_a_turn_turns_them() -> None:
    inset = mixing(BT709, (0.25, 0.0, 0.0))
    xyz = BT709.to_xyz @ inset.array
    xy = (xyz[:2] / xyz.sum(axis=0)).T
    white = np.array(BT709.white)
    assert xy[0] == pytest.approx(white + 0.75 * (np.array(BT709.primaries[0]) - white))
    assert xy[1:] == pytest.approx(np.array(BT709.primaries[1:]))
    turned = mixing(BT2020, (0, 0, 0), (0, 0, 90.0 / 9))
    xyz = BT2020.to_xyz @ turned.array
    blue = xyz[:2, 2] / xyz[:, 2].sum() - BT2020.white
    was = np.array(BT2020.primaries[2]) - BT2020.white
    angle = np.degrees(np.arctan2(blue[1], blue[0]) - np.arctan2(was[1], was[0]))
    assert angle == pytest.approx(10.0)
    assert np.linalg.norm(blue) == pytest.approx(np.linalg.norm(was))


@pytest.mark.parametrize(
    ("settings_", "message"),
    [
        ({"contrast": 0.2}, "too low to reach"),
        ({"inset_red": 0.95}, "inset_red 0.95 is out of range"),
        ({"grey_out": 1.5}, "mid grey"),
        ({"turn_blue": 50.0}, "turn_blue"),
        ({"below": float("nan")}, "below"),
    ],
)
def test_settings_that_are_none_are_refused(settings_: dict[str, float], message: str) -> None:
    with pytest.raises(DefinitionError, match=message):
        Sigmoid(**settings_)
