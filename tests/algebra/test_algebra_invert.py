"""Inverses of LUTs made from pipelines: round trips, and what cannot be inverted.

Judged with colour-science's tetrahedral interpolation and its ΔE 2000.
"""

from __future__ import annotations

from typing import Any

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

import lutbench
from lutbench.algebra import invert
from lutbench.errors import NotInvertibleError
from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.gamuts import ACES_AP1, BT709, BT2020, P3_D65, conversion
from lutbench.model.grade import Cdl, Exposure, Saturation
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Clamp, Matrix, Transform
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import sample

CATALOGUE = open_catalogue(user=False)
TETRAHEDRAL = colour.algebra.table_interpolation_tetrahedral
LOGS = ("ACEScct", "BT.2100 HLG", "BT.2100 PQ", "Cineon")
DISPLAYS = ("BT.1886", "sRGB", "gamma 2.2", "gamma 2.6")
GAMUTS = (BT709, P3_D65, BT2020, ACES_AP1)


def delta_e(first: NDArray[np.float64], second: NDArray[np.float64]) -> NDArray[np.float64]:
    """ΔE 2000 by colour-science of two signals on a BT.709, BT.1886 display."""

    def lab(signal: NDArray[np.float64]) -> NDArray[np.float64]:
        light = np.clip(signal, 0, 1) ** 2.4
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        return colour.XYZ_to_Lab(light @ BT709.to_xyz.T, white)

    return np.asarray(colour.delta_E(lab(first), lab(second), method="CIE 2000"))


def applied(lut: Lut3D, rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """The LUT by colour-science's tetrahedral interpolation."""
    return np.asarray(colour.LUT3D(lut.table).apply(rgb, interpolator=TETRAHEDRAL))


def random_bijection(seed: int) -> Transform:
    """A pipeline that maps the cube one to one into the cube: no clipping anywhere.

    Gamuts only grow, tone has a shoulder that ends where the signal ends.
    """
    random = np.random.default_rng(seed)
    log = CATALOGUE.curve(str(random.choice(LOGS)))
    small, large = sorted(random.choice(len(GAMUTS), 2))
    white = np.log2(log.clip / 0.18)
    exposure = float(random.uniform(-0.5, 0))
    return (
        Decode(log)
        | Exposure(exposure)
        | conversion(GAMUTS[small], GAMUTS[large])
        | Saturation(float(random.uniform(0.75, 1.0)))
        | ToneCurve(
            white=max(white, 4.0),
            contrast=float(random.uniform(0.9, 1.1)),
            toe=float(random.uniform(0, 0.5)),
        )
        | Encode(CATALOGUE.curve(str(random.choice(DISPLAYS))))
    )


@pytest.mark.parametrize("seed", range(4))
def test_round_trip_of_random_bijections(seed: int) -> None:
    lut = sample(random_bijection(seed), 33)
    found = invert(lut, 33)
    assert isinstance(found.lut, Lut3D)
    inputs = np.random.default_rng(100 + seed).random((4000, 3))
    colours = np.asarray(lut.apply(inputs))
    back = found.lut.apply(colours)
    again = np.asarray(lut.apply(back))
    assert delta_e(again, colours).mean() < 0.5


def test_nodes_are_exact_where_they_are_reached() -> None:
    lut = sample(random_bijection(1), 17)
    found = invert(lut, 17)
    assert isinstance(found.lut, Lut3D)
    nodes = found.lut.nodes.reshape(-1, 3)
    back = applied(lut, np.clip(found.lut.table.reshape(-1, 3), 0, 1))
    exact = np.abs(back - nodes).max(axis=1) < 1e-6
    assert exact.mean() >= 1 - found.unreached - found.ambiguous - 1e-9


def test_a_matrix_and_the_identity() -> None:
    matrix = Matrix.from_array([[0.8, 0.1, 0.1], [0.05, 0.85, 0.1], [0.1, 0.2, 0.7]])
    found = invert(sample(matrix, 9), 33)
    points = np.random.default_rng(0).random((2000, 3))
    off = np.abs(found.lut.apply(matrix.apply(points)) - points).max(axis=1)
    # Linear, so exact; but at the edge nodes are continued by least squares.
    assert (off < 1e-9).mean() > 0.8
    assert off.max() < 0.004
    assert found.bijective
    same = invert(Lut3D.identity(17))
    np.testing.assert_allclose(same.lut.table, lattice(17), atol=1e-12)
    assert (same.collapsed, same.folded, same.unreached, same.ambiguous) == (0, 0, 0, 0)


@pytest.mark.parametrize("interpolation", ["tetrahedral", "trilinear"])
def test_interpolation_of_the_lut_is_the_one_inverted(interpolation: str) -> None:
    base = sample(random_bijection(2), 9)
    lut = Lut3D(base.table, interpolation=interpolation)  # type: ignore[arg-type]
    found = invert(lut, 9)
    assert isinstance(found.lut, Lut3D)
    back = lut.apply(np.clip(found.lut.table, 0, 1))
    exact = np.abs(back - found.lut.nodes).max(axis=-1) < 1e-6
    # Newton's steps may end at the border of the domain: a node or two.
    assert exact.mean() >= 0.995 - found.unreached - found.ambiguous
    other: str = "trilinear" if interpolation == "tetrahedral" else "tetrahedral"
    wrong = lut.apply(np.clip(found.lut.table, 0, 1), other)  # type: ignore[arg-type]
    assert np.abs(wrong - found.lut.nodes).max() > 1e-4


def test_share_that_is_clipped_is_exact() -> None:
    # Values over 0.75 are clipped: with nodes at quarters of 1, exactly the cells
    # with a channel in the last quarter: 1 − 0.75³.
    table = np.minimum(lattice(5), 0.75)
    found = invert(Lut3D(table))
    assert found.collapsed == pytest.approx(1 - 0.75**3, abs=1e-12)
    assert found.folded == 0
    assert not found.bijective


def test_share_that_is_folded_is_exact() -> None:
    # Red rises over two thirds of the cube and then comes back down by a third.
    axis = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 0.75, 0.5])
    nodes = lattice(7)
    table = nodes.copy()
    table[..., 0] = axis[:, None, None]
    found = invert(Lut3D(table))
    assert found.folded == pytest.approx(2 / 6, abs=1e-12)
    assert found.collapsed == 0
    # Red from 0.5 to 1 (the ends included in the count) is reached twice: at the
    # nodes 0.5, 0.667 and 0.833 of the new lattice; at 1.0 the two are one.
    assert found.ambiguous == pytest.approx(3 / 7, abs=1e-12)
    back = found.lut.apply(np.array([[0.9, 0.4, 0.4]]))
    assert back[0, 0] < 4 / 6 + 1e-6  # the branch that is not folded


def test_two_channels_swapped_are_a_bijection() -> None:
    found = invert(Lut3D(lattice(5)[..., [1, 0, 2]]))
    assert found.bijective
    np.testing.assert_allclose(found.lut.table, lattice(5)[..., [1, 0, 2]], atol=1e-12)


def test_colours_never_given_keep_luma_better_than_the_nearest() -> None:
    # A clipping conversion into a small gamut: saturated colours cannot come back.
    pipeline = Saturation(0.5)
    lut = sample(pipeline, 17)
    wanted = np.array([[7.0, 1, 1], [1, 6, 2], [1, 2, 7], [7, 7, 1], [0, 4, 4]]) / 8
    luma = np.array([0.2126, 0.7152, 0.0722])
    errors = {}
    for fallback in ("gamut", "nearest"):
        found = invert(lut, 17, fallback=fallback, hold=True)  # type: ignore[arg-type]
        assert found.unreached > 0.5
        given = np.asarray(lut.apply(found.lut.apply(wanted)))
        errors[fallback] = np.abs((given - wanted) @ luma).mean()
    assert errors["gamut"] < 0.5 * errors["nearest"], errors


def test_hold_keeps_values_in_the_domain() -> None:
    lut = sample(random_bijection(0), 17)
    held, free = invert(lut, hold=True), invert(lut)
    assert held.lut.table.min() >= 0
    assert held.lut.table.max() <= 1
    assert free.lut.table.max() <= 1.1 + 1e-9
    assert free.error.mean <= held.error.mean + 1e-9


def test_shaper_helps_where_the_lut_bends() -> None:
    lut = sample(
        Decode(CATALOGUE.curve("gamma 2.4")) | Exposure(-0.1) | Encode(CATALOGUE.curve("ACEScct")),
        17,
    )
    with_shaper, plain = invert(lut, shaper=True), invert(lut)
    assert isinstance(with_shaper.lut, ShaperLut3D)
    assert with_shaper.error.mean < 0.7 * plain.error.mean


def test_lut_behind_a_shaper() -> None:
    shaper = Lut1D(np.repeat(np.sqrt(np.linspace(0, 1, 1024))[:, None], 3, axis=1))
    look = Cdl(slope=(0.9, 0.9, 0.9), power=(1.1, 1.0, 1.2), saturation=0.9, clamp=False)
    lut = ShaperLut3D(shaper, sample(look, 17))
    found = invert(lut)
    points = np.random.default_rng(0).random((2000, 3)) * 0.9 + 0.05
    colours = lut.apply(points)
    np.testing.assert_allclose(lut.apply(found.lut.apply(colours)), colours, atol=0.02)
    assert found.error.mean < 1.0


def test_curve_there_and_back() -> None:
    curve = CATALOGUE.curve("ACEScct")
    lut = Lut1D(np.repeat(curve.decode(np.linspace(0, 1, 1024))[:, None], 3, axis=1))
    found = invert(lut, 65536)
    light = np.linspace(0.01, 200, 500)[:, None].repeat(3, axis=1)
    # 65536 equal steps over 222 of light: the first stops have few rows.
    np.testing.assert_allclose(found.lut.apply(light), curve.encode(light), atol=2e-3)
    flat = Lut1D(np.repeat(np.array([0, 0.2, 0.2, 1.0])[:, None], 3, axis=1))
    clipped = invert(flat)
    assert clipped.collapsed == pytest.approx(1 / 3)
    assert clipped.lut.apply([0.2] * 3)[0] == pytest.approx(0.5, abs=1e-3)


def test_what_has_no_inverse_says_so() -> None:
    with pytest.raises(NotInvertibleError, match="no volume"):
        invert(Lut3D(np.repeat(lattice(5).mean(axis=-1, keepdims=True), 3, axis=-1)))
    with pytest.raises(NotInvertibleError, match="does not rise"):
        invert(Lut1D(np.array([[1.0] * 3, [0.0] * 3])))
    clipped = sample(
        Decode(CATALOGUE.curve("ACEScct"))
        | conversion(ACES_AP1, BT709)
        | Clamp()
        | Encode(CATALOGUE.curve("BT.1886")),
        17,
    )
    found = invert(clipped)
    assert found.collapsed > 0.5
    assert found.change("collapsed") is not None


@pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")
@pytest.mark.parametrize("dimensions", [1, 3])
def test_the_inverse_of_a_clipped_curve_gives_the_light_where_it_begins_to_clip(
    dimensions: int,
) -> None:
    """Display 1.0 once gave light 14.97 in place of 1.0: the light is colour-science's."""
    options: dict[str, Any] = (
        {"kind": "curve", "dimensions": 1, "size": 4096}
        if dimensions == 1
        else {"source_gamut": "BT.709", "target_gamut": "BT.709", "size": 65}
    )
    lut = lutbench.build("ACEScct", "BT.1886", **options)
    found = invert(lut)
    top, bottom = (found.lut.apply([level] * 3)[1] for level in (1.0, 0.0))
    light = colour.log_decoding(top, function="ACEScct")
    step = 1 / (lut.size - 1)
    row_over = colour.log_decoding(top - step, function="ACEScct")
    # The first row that is clipped: light 1.0 lies in the step under it.
    assert row_over <= 1.0 <= light
    assert abs(bottom - colour.log_encoding(0.0, function="ACEScct")) <= step
    message = next(each.message for each in found.changes if each.code == "round_trip")
    assert "come back to within" in message
    assert found.collapsed > 0.3  # told beside the error, which does not go through the flat
