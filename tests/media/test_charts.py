"""The picture chart: drawn, sent through simulated boxes, read back, and refused.

JPEG and scaling are Pillow's.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from skimage import data

from lutbench import LutbenchError
from lutbench.media.chart.layout import CONTROLS, Layout, draw_chart, layout_for
from lutbench.media.chart.picture import read_chart
from lutbench.media.still.still import read_still, write_still
from lutbench.tables.lut import lattice

Picture = NDArray[np.float64]
SIZE, WIDTH, HEIGHT = 9, 640, 360


@pytest.fixture(scope="module")
def chart() -> Picture:
    return draw_chart(SIZE, WIDTH, HEIGHT).signal().astype(np.float64)


def scaled(picture: Picture, x: float, y: float | None = None) -> Picture:
    height, width = picture.shape[:2]
    size = (round(width * x), round(height * (y or x)))
    return np.stack(
        [
            np.asarray(Image.fromarray(picture[..., c].astype(np.float32)).resize(size, 3))
            for c in range(3)
        ],
        axis=-1,
    ).astype(np.float64)


def noisy(picture: Picture, sigma: float = 1.0) -> NDArray[np.uint8]:
    noise = np.random.default_rng(0).normal(0, sigma, picture.shape)
    return np.clip(np.round(picture * 255 + noise), 0, 255).astype(np.uint8)


def jpeg(codes: NDArray[np.uint8], quality: int = 90) -> Picture:
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=quality)
    return np.asarray(Image.open(file), dtype=np.float64) / 255


def tone(picture: Picture) -> Picture:
    """A box: darker, tinted, with lifted black."""
    return np.asarray(0.05 + [0.9, 0.85, 0.8] * np.clip(picture, 0, 1) ** [1.5, 1.6, 1.7])


def test_chart_holds_every_node_once(chart: Picture) -> None:
    layout = layout_for(SIZE, WIDTH, HEIGHT)
    nodes, ramp = np.split(layout.inputs[layout.controls < 0], [SIZE**3])
    np.testing.assert_allclose(ramp, np.linspace([0] * 3, [1] * 3, 129), atol=1e-12)
    assert len(np.unique(nodes, axis=0)) == SIZE**3
    np.testing.assert_array_equal(nodes, lattice(SIZE).transpose(2, 1, 0, 3).reshape(-1, 3))
    assert (np.bincount(layout.controls[layout.controls >= 0]) >= 4).all()
    assert len(CONTROLS) == 8


@pytest.mark.parametrize(
    ("size", "width", "height"),
    [(5, 320, 240), (17, 1920, 1080), (33, 3840, 2160), (33, 1920, 1080)],
)
def test_layouts_keep_a_margin(size: int, width: int, height: int) -> None:
    layout = layout_for(size, width, height)
    assert layout.width <= 0.92 * width
    assert layout.height <= 0.92 * height
    assert size**3 + 129 < layout.rows * layout.columns < 1.5 * size**3 + 300


def test_chart_file_comes_back_to_the_code(chart: Picture, tmp_path: Path) -> None:
    for suffix in ("png", "tif"):
        path = tmp_path / f"chart.{suffix}"
        write_still(draw_chart(SIZE, WIDTH, HEIGHT), path)
        still = read_still(path)
        assert still.depth == "16"
        reading = read_chart(still.signal())
        np.testing.assert_allclose(reading.outputs, reading.inputs, atol=0.6 / 65535)
        assert reading.noise == pytest.approx(0, abs=1e-3)
        assert reading.scale == pytest.approx((1, 1), abs=1e-4)


@pytest.mark.parametrize(
    ("x", "y"), [(1.0, 1.0), (0.98, 0.98), (1.5, 1.5), (0.7, 0.75), (2.0, 1.9)]
)
def test_scaled_noisy_compressed(chart: Picture, x: float, y: float) -> None:
    reading = read_chart(jpeg(noisy(scaled(tone(chart), x, y))))
    off = (reading.outputs - tone(reading.inputs)) * 255
    assert reading.layout == layout_for(SIZE, WIDTH, HEIGHT)
    assert np.abs(off).mean() < 1.5
    assert reading.scale == pytest.approx((x, y), rel=0.002)
    # The uncertainty that is told is about the one that is there.
    assert 0.5 * off.std() < reading.uncertainty < 2.5 * off.std()


def test_noise_is_told(chart: Picture) -> None:
    inside = 0.1 + 0.8 * chart  # away from the ends, where noise is cut off
    for sigma in (1.0, 2.5):
        reading = read_chart(noisy(inside, sigma) / 255.0)
        # Rounding to whole codes adds 1/12 to the variance.
        assert reading.noise == pytest.approx(np.sqrt(sigma**2 + 1 / 12), rel=0.05)


def test_cropped_into_the_margin_and_set_into_a_larger_picture(chart: Picture) -> None:
    cropped = chart[12:-10, 20:-18]
    assert np.abs(read_chart(cropped).outputs - read_chart(chart).outputs).max() < 1e-9
    for surround in (0.0, 1.0):
        page = np.full((500, 900, 3), surround)
        page[50 : 50 + HEIGHT, 100 : 100 + WIDTH] = tone(chart)
        reading = read_chart(page)
        np.testing.assert_allclose(
            reading.outputs, tone(reading.inputs), atol=1.5e-5
        )  # 16 bits, and the box bends them


def test_legal_range_is_noticed(chart: Picture) -> None:
    reading = read_chart(noisy((16 + 219 * chart) / 255, 0.5) / 255.0)
    assert any("legal range" in note for note in reading.notes)


def test_clipping_is_noticed(chart: Picture) -> None:
    reading = read_chart(np.clip(2 * chart, 0, 1))
    assert reading.clipped > 0.3
    assert reading.notes


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (lambda c: c[:, ::-1], "mirrored left to right"),
        (lambda c: c[::-1], "mirrored top to bottom"),
        (lambda c: c[::-1, ::-1], "upside down"),
        (lambda c: c[:, 60:], "of the chart's 4 corner markers"),
        (lambda c: c[:-80], "of the chart's 4 corner markers"),
        (lambda c: np.roll(c, 150, axis=1), r"shifted|turned or distorted|corner markers"),
        (lambda c: np.roll(c, 90, axis=0), r"shifted|turned or distorted|corner markers"),
        (
            lambda c: np.roll(c, (60, 70), axis=(0, 1)),
            r"shifted|turned or distorted|corner markers",
        ),
        (lambda c: np.full_like(c, 0.4), "0 of the chart's 4 corner markers"),
        (lambda c: scaled(c, 0.3), r"pixels wide|corner markers|code cannot"),
    ],
)
def test_refused(chart: Picture, what: object, words: str) -> None:
    with pytest.raises(LutbenchError, match=words):
        read_chart(what(chart))  # type: ignore[operator]


def test_a_photograph_is_no_chart() -> None:
    with pytest.raises(LutbenchError, match="corner markers"):
        read_chart(data.coffee() / 255.0)


def test_small_shift_inside_the_frame_still_reads_right(chart: Picture) -> None:
    for dx, dy in ((7, 0), (-11, 5), (3, -9)):
        reading = read_chart(np.roll(tone(chart), (dy, dx), axis=(0, 1)))
        np.testing.assert_allclose(
            reading.outputs, tone(reading.inputs), atol=1.5e-5
        )  # 16 bits, and the box bends them


def test_rows_that_slipped_are_refused(chart: Picture) -> None:
    torn = chart.copy()
    torn[150:230] = np.roll(chart[150:230], 9, axis=1)
    with pytest.raises(LutbenchError, match=r"not flat|comes back differently"):
        read_chart(torn)
    # A whole number of patches: every patch is flat, and the wrong one.
    cell = layout_for(SIZE, WIDTH, HEIGHT).cell
    slipped = chart.copy()
    slipped[150:230] = np.roll(chart[150:230], 3 * cell, axis=1)
    with pytest.raises(LutbenchError, match=r"not flat|comes back differently"):
        read_chart(slipped)


def test_overlays_and_vignettes_are_refused(chart: Picture) -> None:
    covered = chart.copy()
    covered[180:220, 250:380] = 0.1
    with pytest.raises(LutbenchError, match=r"not flat|comes back differently"):
        read_chart(covered)
    y, x = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    vignette = chart * (1 - 0.08 * (x**2 + y**2))[..., None]
    with pytest.raises(LutbenchError, match="comes back differently"):
        read_chart(vignette)


def test_sizes_out_of_limits_are_refused() -> None:
    with pytest.raises(LutbenchError, match="chart size of 40"):
        draw_chart(40)
    with pytest.raises(LutbenchError, match="does not fit"):
        draw_chart(33, 640, 360)
    with pytest.raises(LutbenchError, match="frame of 10×10"):
        layout_for(5, 10, 10)


def test_code_strips_differ_and_tell_the_layout() -> None:
    layout = Layout(17, 109, 48, 16)
    assert not np.array_equal(layout.bits(True), layout.bits(False))
    assert not np.array_equal(layout.bits(True), layout.bits(True)[::-1])
