"""Y'CbCr planes against colour-science at every depth, range and matrix; chroma by its maths."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage import data

from lutbench import LutbenchError
from lutbench.media.clip.ycbcr import Coding, planes_from_rgb, rgb_from_planes

WEIGHTS = {
    "BT.601": colour.WEIGHTS_YCBCR["ITU-R BT.601"],
    "BT.709": colour.WEIGHTS_YCBCR["ITU-R BT.709"],
    "BT.2020": colour.WEIGHTS_YCBCR["ITU-R BT.2020"],
}
EVERY = [
    (matrix, span, bits) for matrix in WEIGHTS for span in ("legal", "full") for bits in (8, 10, 12)
]


def planes_for(coding: Coding, height: int, width: int) -> list[NDArray[np.generic]]:
    kind = np.uint8 if coding.bits == 8 else np.uint16
    chroma = coding.chroma_shape(height, width)
    return [np.zeros(shape, kind) for shape in ((height, width), chroma, chroma)]


@pytest.mark.parametrize(("matrix", "span", "bits"), EVERY)
def test_decoding_as_colour_science(matrix: str, span: str, bits: int) -> None:
    coding = Coding(matrix, span, bits)  # type: ignore[arg-type]
    rng = np.random.default_rng(bits)
    codes = rng.integers(0, 2**bits, (40, 50, 3))
    planes = [codes[..., c].astype(np.uint8 if bits == 8 else np.uint16) for c in range(3)]
    rgb = rgb_from_planes(*planes, 50, coding)
    want = colour.YCbCr_to_RGB(
        codes,
        K=WEIGHTS[matrix],
        in_bits=bits,
        in_int=True,
        in_legal=span == "legal",
        out_int=False,
        out_legal=False,
    )
    # float32: the codes' offsets and products, a few units in the last place of 2.
    assert np.abs(rgb - want).max() < 2e-6


@pytest.mark.parametrize(("matrix", "span", "bits"), EVERY)
def test_encoding_as_colour_science(matrix: str, span: str, bits: int) -> None:
    coding = Coding(matrix, span, bits)  # type: ignore[arg-type]
    rgb = np.random.default_rng(bits).random((40, 50, 3)).astype(np.float32)
    planes = planes_for(coding, 40, 50)
    planes_from_rgb(rgb, *planes, coding)
    want = colour.RGB_to_YCbCr(
        rgb.astype(np.float64),
        K=WEIGHTS[matrix],
        in_int=False,
        in_legal=False,
        out_bits=bits,
        out_int=False,
        out_legal=span == "legal",
    )
    # colour-science gives fractions of 2^n - 1, chroma of full range about 0.
    exact = want * (2**bits - 1)
    if span == "full":
        exact[..., 1:] += 2 ** (bits - 1)
        exact = np.minimum(exact, 2**bits - 1)
    got = np.stack(planes, axis=-1)
    assert np.abs(got - exact).max() <= 0.5 + 2**bits * 1e-6


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
@pytest.mark.parametrize("span", ["legal", "full"])
def test_there_and_back_at_444_is_exact(bits: int, span: str) -> None:
    """Codes of real colours through float R G B come back as they were."""
    coding = Coding("BT.709", span, bits)  # type: ignore[arg-type]
    rgb = (data.coffee()[::4, ::4] / 255).astype(np.float32)
    first, second = planes_for(coding, *rgb.shape[:2]), planes_for(coding, *rgb.shape[:2])
    planes_from_rgb(rgb, *first, coding)
    planes_from_rgb(rgb_from_planes(*first, rgb.shape[1], coding), *second, coding)
    for one, two in zip(first, second, strict=True):
        np.testing.assert_array_equal(one, two)


@pytest.mark.parametrize("siting", ["left", "center", "topleft"])
@pytest.mark.parametrize(("across", "down"), [(2, 1), (2, 2)])
def test_a_chroma_ramp_stays_a_ramp_at_its_place(siting: str, across: int, down: int) -> None:
    """A cubic keeps straight lines: the ramp comes out where the siting says that it sits."""
    coding = Coding("BT.709", "full", 16, across, down, siting)  # type: ignore[arg-type]
    height, width = 24, 40
    lines, samples = coding.chroma_shape(height, width)
    x = np.arange(samples) * across + (0.5 if siting == "center" and across == 2 else 0)
    y = np.arange(lines) * down + (0.5 if siting != "topleft" and down == 2 else 0)
    cr = (32768 + 200 * x[None, :] + 100 * y[:, None]).astype(np.uint16)
    cb = np.full_like(cr, 32768)
    luma = np.full((height, width), 30000, np.uint16)
    rgb = rgb_from_planes(luma, cb, cr, width, coding)
    got = (rgb[..., 0].astype(np.float64) - 30000 / 65535) / 1.5748 * 65535
    want = 200 * np.arange(width)[None, :] + 100 * np.arange(height)[:, None]
    inner = (slice(4, -4), slice(4, -4))
    assert np.abs(got - want)[inner].max() < 0.1  # of 16-bit codes: float32
    back = planes_for(coding, height, width)
    planes_from_rgb(rgb, *back, coding)
    difference = back[2].astype(int) - cr.astype(int)
    assert np.abs(difference)[2:-2, 2:-2].max() <= 1


@pytest.mark.parametrize(("across", "down"), [(2, 1), (2, 2)])
def test_a_photograph_loses_little_by_going_there_and_back(across: int, down: int) -> None:
    """Smooth chroma survives: far less is lost than by repeating and averaging samples."""
    coding = Coding("BT.709", "legal", 10, across, down)
    rgb = (data.coffee() / 255).astype(np.float32)
    first, second = planes_for(coding, *rgb.shape[:2]), planes_for(coding, *rgb.shape[:2])
    planes_from_rgb(rgb, *first, coding)
    planes_from_rgb(rgb_from_planes(*first, rgb.shape[1], coding), *second, coding)
    assert np.abs(first[0].astype(int) - second[0]).max() <= 1
    lost = np.abs(first[2].astype(int) - second[2]).mean()
    plain = first[2].astype(float)
    blurred = (np.roll(plain, 1, 1) + 2 * plain + np.roll(plain, -1, 1)) / 4
    assert lost < 0.4 * np.abs(blurred - plain).mean()


def test_odd_sizes_and_padded_lines() -> None:
    coding = Coding("BT.601", "legal", 8, 2, 2)
    rgb = np.random.default_rng(1).random((7, 9, 3)).astype(np.float32)
    rgb[:] = (0.25, 0.5, 0.75)
    planes = [np.full((7, 16), 99, np.uint8), *(np.full((4, 8), 99, np.uint8) for _ in "ab")]
    planes_from_rgb(rgb, *planes, coding)
    assert (planes[0][:, 9:] == 99).all()
    assert (planes[1][:, 5:] == 99).all()
    again = rgb_from_planes(*planes, 9, coding)
    assert np.abs(again - rgb).max() < 2 / 219


def test_not_a_number_is_black_and_codes_stay_legal() -> None:
    coding = Coding("BT.709", "legal", 10)
    rgb = np.array([[[np.nan] * 3, [9, 9, 9], [-9, -9, -9], [np.inf, 0, 0]]], np.float32)
    planes = planes_for(coding, 1, 4)
    planes_from_rgb(rgb, *planes, coding)
    assert planes[0][0, 0] == 64
    # 4 and 1019 bound video data at 10 bits (Recommendation ITU-R BT.709-6, item 5.7).
    assert (planes[0][0, 1], planes[0][0, 2]) == (1019, 4)
    assert all(plane.min() >= 4 and plane.max() <= 1019 for plane in planes)


def test_the_number_of_threads_changes_nothing() -> None:
    coding = Coding("BT.2020", "legal", 10, 2, 2)
    rng = np.random.default_rng(3)
    planes = [
        rng.integers(64, 940, shape).astype(np.uint16) for shape in ((130, 70), (65, 35), (65, 35))
    ]
    one = rgb_from_planes(*planes, 70, coding, threads=1)
    many = rgb_from_planes(*planes, 70, coding, threads=3)
    np.testing.assert_array_equal(one, many)


def test_an_unknown_matrix_is_named() -> None:
    with pytest.raises(LutbenchError, match=r"BT\.601, BT\.709, BT\.2020"):
        Coding("BT.470", "full", 8)  # type: ignore[arg-type]
