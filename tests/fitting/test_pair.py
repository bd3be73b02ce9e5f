"""LUTs learnt from pairs of pictures: the photographs that scikit-image carries, graded here.

Judged with colour-science's ΔE 2000; compression is Pillow's.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import gaussian_filter, zoom
from skimage import data

from lutbench import LutbenchError
from lutbench.fitting.base import fit_base
from lutbench.fitting.pair import PairFit, fit_pair
from lutbench.fitting.registration import check_registration
from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.gamuts import BT709, BT2020, conversion
from lutbench.model.grade import Cdl
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Clamp
from lutbench.report.coverage import coverage_png
from lutbench.tables.lut import Lut1D, Lut3D, lattice
from lutbench.tables.nodes import sample

Picture = NDArray[np.float64]
CURVES = open_catalogue(user=False)
LOG = CURVES.curve("ACEScct")
TO_LOG = Decode(CURVES.curve("sRGB")) | conversion(BT709, BT2020) | Encode(LOG)
TO_DISPLAY = (
    Decode(LOG)
    | conversion(BT2020, BT709)
    | ToneCurve(white=6.0)
    | Clamp()
    | Encode(CURVES.curve("BT.1886"))
)
GRADE = Cdl((1.1, 1.0, 0.9), (-0.05, 0.0, 0.02), (1.2, 1.0, 0.9), 1.3)


def photograph(name: str = "astronaut") -> Picture:
    return np.asarray(getattr(data, name)()[:288, :400] / 255.0)


def jpeg(picture: Picture, quality: int = 90) -> Picture:
    file = io.BytesIO()
    Image.fromarray(np.round(picture * 255).astype(np.uint8)).save(file, "JPEG", quality=quality)
    return np.asarray(Image.open(file), dtype=np.float64) / 255


def delta_e(first: Picture, second: Picture) -> NDArray[np.float64]:
    def lab(signal: Picture) -> Picture:
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        return np.asarray(colour.XYZ_to_Lab(np.clip(signal, 0, 1) ** 2.4 @ BT709.to_xyz.T, white))

    return np.asarray(colour.delta_E(lab(first), lab(second), method="CIE 2000"))


@pytest.fixture(scope="module")
def from_log() -> tuple[Lut3D, Picture, PairFit]:
    """A log still and its display form, both of 16 bits."""
    lut = sample(TO_DISPLAY, 33)
    before = np.round(TO_LOG.apply(photograph()) * 65535) / 65535
    after = np.round(np.asarray(lut.apply(before)) * 65535) / 65535
    return lut, before, fit_pair(before, after, 33)


def test_the_same_pictures_colours_come_back(from_log: tuple[Lut3D, Picture, PairFit]) -> None:
    lut, before, fit = from_log
    off = delta_e(np.asarray(fit.lut.apply(before)), np.asarray(lut.apply(before)))
    assert off.mean() < 0.5
    assert np.percentile(off, 95) < 1.5
    found, wanted = fit.held_out_colours
    assert delta_e(found, wanted).mean() < 1.0
    assert fit.outliers < 0.01
    assert fit.agreement > 0.9


def test_another_picture_of_the_same_colours(from_log: tuple[Lut3D, Picture, PairFit]) -> None:
    lut, _, fit = from_log
    other = TO_LOG.apply(photograph("coffee"))
    off = delta_e(np.asarray(fit.lut.apply(other)), np.asarray(lut.apply(other)))
    # Colours that were not seen are guesses; the median pixel's was.
    assert np.median(off) < 3


def test_coverage_is_what_the_picture_holds(from_log: tuple[Lut3D, Picture, PairFit]) -> None:
    lut, before, fit = from_log
    assert 0.4 * before[..., 0].size < fit.support.sum() < before[..., 0].size
    supported = fit.support >= 3
    assert fit.coverage == pytest.approx(supported.mean())
    off = np.abs(fit.lut.table - lut.table).mean(axis=-1) * 1023
    assert off[supported].mean() < 12 < off[~supported].mean()
    low, high = fit.neutral_covered
    assert 0 <= low < 0.2
    assert 0.4 < high < LOG.encode(1.0) + 1 / 32  # the node over white is used too
    nodes = lattice(33)[supported]
    distance = np.abs(before.reshape(-1, 1, 3)[::97] - nodes[None, ::9]).max(axis=-1)
    assert distance.min(axis=0).max() < 0.2  # every node near a pixel


def test_coverage_picture(from_log: tuple[Lut3D, Picture, PairFit]) -> None:
    drawn = np.asarray(Image.open(io.BytesIO(coverage_png(from_log[2]))).convert("RGB"))
    assert drawn.shape[1] > 1000
    assert np.ptp(drawn.astype(int), axis=-1).max() > 60  # nodes in their colours


def test_neutral_axis_rises(from_log: tuple[Lut3D, Picture, PairFit]) -> None:
    index = np.arange(33)
    axis = from_log[2].lut.table[index, index, index]
    assert (np.diff(axis, axis=0) >= -1e-12).all()


def test_compressed_grade_with_a_title_burnt_in() -> None:
    before = photograph("coffee")
    after = np.clip(GRADE.apply(before), 0, 1)
    after[250:270, 20:160] = 1.0
    fit = fit_pair(before, jpeg(after), 17)
    clean = np.ones(before.shape[:2], bool)
    clean[240:280, 10:170] = False
    off = delta_e(np.asarray(fit.lut.apply(before)), np.clip(GRADE.apply(before), 0, 1))[clean]
    assert off.mean() < 1.5
    assert fit.outliers > 0.01  # the title: 2.4 % of the pixels


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: np.roll(p, (3, -7), axis=(0, 1)), r"shifted by -7 pixels across and \+3 down"),
        (lambda p: np.roll(p, 1, axis=1), r"shifted by \+1 pixels across and \+0 down"),
        (lambda p: p[:, ::-1], "mirrored left to right"),
        (lambda p: p[::-1], "mirrored top to bottom"),
        (lambda p: p[::-1, ::-1], "upside down"),
        (lambda p: p[:-2], "400×288 and 400×286"),
        (lambda p: zoom(p, (1.02, 1.02, 1), order=1)[:288, :400], r"scaled|shifted|not the same"),
        (lambda p: zoom(p, (1.006, 1.006, 1), order=1)[:288, :400], r"scaled|shifted"),
        (lambda p: np.full_like(p, 0.3), "has no detail"),
    ],
)
@pytest.mark.parametrize("name", ["astronaut", "coffee"])
def test_pairs_that_do_not_lie_on_each_other(
    change: Callable[[Picture], Picture], words: str, name: str
) -> None:
    picture = photograph(name)
    graded = np.clip(GRADE.apply(picture), 0, 1)
    with pytest.raises(LutbenchError, match=words):
        check_registration(picture, change(graded))


def test_two_pictures_are_refused() -> None:
    names = ("astronaut", "coffee", "chelsea", "rocket")
    for first in names:
        for second in names:
            if first != second:
                with pytest.raises(LutbenchError, match="not the same picture"):
                    check_registration(photograph(first), photograph(second))


@pytest.mark.parametrize(
    "grade",
    [
        lambda p: np.clip((p - 0.3) * 2.2, 0, 1),
        lambda p: 0.1 + 0.5 * p**0.4,
        lambda p: np.repeat((p @ [0.3, 0.6, 0.1])[..., None], 3, axis=-1),
        lambda p: p[..., [1, 2, 0]],
        lambda p: jpeg(p**0.6, 40),
        lambda p: p + np.random.default_rng(0).normal(0, 0.05, p.shape),
    ],
)
def test_any_grade_of_the_same_picture_is_taken(grade: Callable[[Picture], Picture]) -> None:
    for name in ("astronaut", "coffee", "chelsea", "rocket"):
        assert check_registration(photograph(name), grade(photograph(name))).agreement > 0.5


def test_work_on_a_part_of_the_picture_is_refused_or_named() -> None:
    before = photograph()
    y, x = np.mgrid[-1:1:288j, -1:1:400j]
    strong, weak = (
        np.clip(1.2 - amount * np.hypot(x, y), 0, 1)[..., None] for amount in (0.8, 0.3)
    )
    with pytest.raises(LutbenchError, match="of them explained"):
        fit_pair(before, before * strong, 9)
    assert any("a LUT alone" in note for note in fit_pair(before, before * weak, 9).notes)


def test_colours_that_do_not_follow_are_refused() -> None:
    before = photograph()
    edges = gaussian_filter(np.random.default_rng(0).random((*before.shape[:2], 3)), (4, 4, 0))
    after = np.clip(0.5 + 6 * (edges - 0.5) + 0.1 * before, 0, 1)
    with pytest.raises(LutbenchError, match=r"do not follow|not the same"):
        fit_pair(before, after, 9)


def test_base_finds_a_mixture_and_curves() -> None:
    random = np.random.default_rng(0)
    matrix = np.array([[0.8, 0.15, 0.05], [0.1, 0.85, 0.05], [0.0, 0.2, 0.8]])
    curves = Lut1D(np.linspace(0, 1, 65)[:, None] ** [1.8, 2.0, 2.2])
    inputs = random.random((3000, 3))
    base = fit_base(inputs, np.asarray(curves.apply(inputs @ matrix.T)))
    np.testing.assert_allclose(base.matrix, matrix, atol=0.01)
    unseen = random.random((500, 3))
    wanted = curves.apply(unseen @ matrix.T)
    assert np.abs(base.apply(unseen) - wanted).max() < 0.02


def test_sizes_out_of_limits_are_refused() -> None:
    picture = photograph()
    with pytest.raises(LutbenchError, match="LUT size of 1"):
        fit_pair(picture, picture, 1)
    with pytest.raises(LutbenchError, match="under 64 pixels"):
        check_registration(picture[:30], picture[:30])
