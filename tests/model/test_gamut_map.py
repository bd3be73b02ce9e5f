"""Gamut mapping: hue kept, nothing folds, greys stay.

Outside references: colour-science's Oklab (B. Ottosson, 2020) and its matrices, its CAM16 (Li
et al., 2017) and CIELAB. The hue limit of 2° on the boundary of BT.2020 is the project's own aim.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from gamut_references import by_cam16, by_cielab, cam16
from hypothesis import given, settings
from hypothesis import strategies as st

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamut_map import LAB_FROM_ROOTS, GamutMapping, limited, lms_matrix
from lutbench.model.gamuts import (
    ACES_AP0,
    ACES_AP1,
    BT709,
    BT2020,
    DCI_P3,
    P3_D65,
    Gamut,
    conversion,
)
from lutbench.tables.cells import jacobians
from lutbench.tables.lut import lattice
from lutbench.tables.nodes import sample

TARGETS = (BT709, P3_D65)


def boundary(steps: int = 17) -> np.ndarray:  # type: ignore[type-arg]
    """Display light on the boundary of BT.2020: one channel at 0, the brightest clear of black."""
    rgb = lattice(steps).reshape(-1, 3)
    return rgb[(rgb.min(axis=1) == 0) & (rgb.max(axis=1) > 0.15)] ** 2.4


def oklab(rgb: np.ndarray, gamut: Gamut) -> np.ndarray:  # type: ignore[type-arg]
    """Oklab by colour-science."""
    return np.asarray(colour.XYZ_to_Oklab(rgb @ gamut.to_xyz.T))


def turned(before: np.ndarray, after: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """How far the hue turned, in degrees."""
    first, second = (np.degrees(np.arctan2(x[:, 2], x[:, 1])) for x in (before, after))
    return (second - first + 180) % 360 - 180


@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each.name)
def test_the_hue_of_bt_2020_s_boundary_is_kept(target: Gamut) -> None:
    light = boundary()
    mapped = (conversion(BT2020, target) | GamutMapping(target)).apply(light)
    turn = turned(oklab(light, BT2020), oklab(mapped, target))
    # colour-science's matrices have fewer digits than ours: a hundredth of a degree.
    assert np.abs(turn).max() < 0.1
    # Cutting off turns it by far more than the 2° that is aimed at.
    cut = np.clip(conversion(BT2020, target).apply(light), 0, 1)
    assert np.abs(turned(oklab(light, BT2020), oklab(cut, target))).max() > 10


@pytest.mark.parametrize("source", [ACES_AP1, ACES_AP0], ids=lambda each: each.name)
@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each.name)
def test_colours_beyond_reach_keep_their_hue(source: Gamut, target: Gamut) -> None:
    light = np.random.default_rng(5).uniform(0, 1, (6000, 3)) ** 3
    into = conversion(source, target)
    mapped = GamutMapping(target).apply(into.apply(light))
    assert mapped.min() >= 0
    beyond = conversion(source, BT2020).apply(light).min(axis=1) < -1e-4
    # Where Oklab has a hue: lightness over 0; AP0 has primaries that no light has.
    before, after = (
        np.cbrt(each @ lms_matrix(target).T) @ LAB_FROM_ROOTS.T
        for each in (into.apply(light), mapped)
    )
    seen = beyond & (before[:, 0] > 0.05) & (np.hypot(after[:, 1], after[:, 2]) > 1e-3)
    assert seen.sum() > 500
    assert np.abs(turned(before, after))[seen].max() < 0.1


@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each.name)
def test_it_is_near_to_what_an_appearance_model_would_do(target: Gamut) -> None:
    """Against chroma reduced in CAM16 at constant J and h, and the way of BT.2407 in CIELAB.

    The figures of docs/maths/gamut-map.md; no plane is every eye's, so these are stated."""
    light = boundary(9)
    xyz = light @ BT2020.to_xyz.T
    mapped = (conversion(BT2020, target) | GamutMapping(target)).apply(light)
    for reference in (by_cam16, by_cielab):
        labs = [
            colour.XYZ_to_Lab(each @ target.to_xyz.T) for each in (reference(xyz, target), mapped)
        ]
        assert np.median(colour.delta_E(*labs, method="CIE 2000")) < 4.5
    cut = np.clip(conversion(BT2020, target).apply(light), 0, 1)
    hue, by_map, by_cut = (
        cam16(each)[:, 2] for each in (xyz, mapped @ target.to_xyz.T, cut @ target.to_xyz.T)
    )
    turns = [np.abs((each - hue + 180) % 360 - 180) for each in (by_map, by_cut)]
    assert turns[0].mean() < 0.95 * turns[1].mean()
    # The table's 4.8 and 24.0 degrees to BT.709, 3.9 and 21.8 to P3-D65.
    assert turns[0].mean() < 5.0
    assert turns[0].max() < 25.0


@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each.name)
def test_nothing_folds_on_65_nodes(target: Gamut) -> None:
    pipe = Decode(Bt1886()) | conversion(BT2020, target) | GamutMapping(target) | Encode(Bt1886())
    table = sample(pipe, 65).table
    assert table.min() >= 0
    assert table.max() <= 1 + 1e-9
    assert np.linalg.det(jacobians(table.astype(np.float64))).min() > 0


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from([BT709, P3_D65, DCI_P3]),
    st.floats(0, 0.95),
    st.sampled_from([0.5, 1.0, 4.0, None]),
    st.integers(0, 99),
)
def test_what_is_within_reach_comes_inside(
    target: Gamut, knee: float, top: float | None, seed: int
) -> None:
    mapping = GamutMapping(target, knee=knee, top=top)
    light = np.random.default_rng(seed).uniform(0, top or 1.0, (300, 3))
    grey = np.repeat(np.linspace(0, top or 1.0, 50)[:, None], 3, 1)
    mapped = mapping.apply(conversion(BT2020, target).apply(light))
    assert mapped.min() >= 0
    if top is not None:
        assert mapped.max() <= top * (1 + 1e-8)
    # Greys stay, to the rounding of a cube root and its cube.
    assert mapping.apply(grey) == pytest.approx(grey, abs=1e-12)
    # What is well inside does not move.
    inner = grey + 0.02 * grey * np.random.default_rng(seed).uniform(-1, 1, grey.shape)
    if knee > 0.3:
        dark = inner[inner.max(axis=1) < 0.7 * (top or 1.0)]
        assert mapping.apply(dark) == pytest.approx(dark, abs=1e-15)


def test_lightness_stays_where_no_channel_is_too_bright() -> None:
    light = 0.3 * boundary()
    mapped = (conversion(BT2020, BT709) | GamutMapping(BT709)).apply(light)
    assert oklab(mapped, BT709)[:, 0] == pytest.approx(oklab(light, BT2020)[:, 0], abs=2e-4)


def test_chroma_rises_along_a_line_of_one_hue() -> None:
    chroma = np.linspace(0, 0.25, 100)
    for hue in np.radians(np.arange(0, 360, 15)):
        line = np.stack([np.full(100, 0.5), chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)
        light = colour.Oklab_to_XYZ(line) @ np.linalg.inv(BT2020.to_xyz).T
        light = light[light.min(axis=1) > 0]  # what BT.2020 holds
        mapped = oklab((conversion(BT2020, BT709) | GamutMapping(BT709)).apply(light), BT709)
        assert (np.diff(np.hypot(mapped[:, 1], mapped[:, 2]) / mapped[:, 0]) > 0).all()


def test_the_compression_is_the_academy_s() -> None:
    x = np.linspace(0, 3, 50)
    threshold, limit, power = 0.815, 1.147, 1.2
    # Academy Reference Gamut Compression 1.3, cyan (from memory of the CTL), one value at a time.
    scale = (limit - threshold) / (((1 - threshold) / (limit - threshold)) ** -power - 1) ** (
        1 / power
    )
    expected = [
        v
        if v < threshold
        else threshold
        + scale
        * ((v - threshold) / scale)
        / (1 + ((v - threshold) / scale) ** power) ** (1 / power)
        for v in x.tolist()
    ]
    assert limited(x, threshold, np.full(50, limit)) == pytest.approx(expected, abs=1e-12)


def test_odd_light_and_odd_settings() -> None:
    mapping = GamutMapping(BT709)
    out = mapping.apply([[-1.0, -1.0, -1.0], [0.0, 0.0, 0.0], [5.0, -2.0, 0.1]])
    assert out.min() >= 0
    assert out[:2].tolist() == [[0, 0, 0], [0, 0, 0]]
    with pytest.raises(DefinitionError, match="a knee of"):
        GamutMapping(BT709, knee=1.0)
    with pytest.raises(NotInvertibleError):
        mapping.inverse()
