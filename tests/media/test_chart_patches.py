"""Patches of a photographed chart: perspective by scikit-image."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.transform import ProjectiveTransform, warp

from lutbench import LutbenchError
from lutbench.errors import FormatError
from lutbench.media.chart.patches import read_grid, read_patch_table

Array = NDArray[np.float64]
COLOURS = np.random.default_rng(0).random((24, 3))


def drawn(side: int = 40, gap: int = 10) -> Array:
    """Four rows of six patches with black between them."""
    step = side + gap
    picture = np.zeros((4 * step + gap, 6 * step + gap, 3))
    for number, colour in enumerate(COLOURS):
        row, column = divmod(number, 6)
        y, x = gap + row * step, gap + column * step
        picture[y : y + side, x : x + side] = colour
    return picture


CORNERS = np.array([[30, 30], [280, 30], [280, 180], [30, 180]], dtype=float)


def test_straight_and_turned() -> None:
    picture = drawn()
    found = read_grid(picture, CORNERS)
    np.testing.assert_allclose(found.signal, COLOURS, atol=1e-12)
    assert found.names[6] == "row 2, column 1"
    upside_down = read_grid(picture[::-1, ::-1], np.array([310, 210]) - CORNERS)
    np.testing.assert_allclose(upside_down.signal, COLOURS, atol=1e-12)


def test_in_perspective_with_noise() -> None:
    there = np.array([[60, 50], [330, 80], [360, 300], [40, 260]], dtype=float)
    mapping = ProjectiveTransform.from_estimate(there, CORNERS)
    picture = warp(drawn(), mapping, output_shape=(360, 420), order=1)
    picture = picture + np.random.default_rng(1).normal(0, 0.01, picture.shape)
    found = read_grid(picture, there)
    # 225 points a patch of σ 0.01.
    np.testing.assert_allclose(found.signal, COLOURS, atol=5 * 0.01 / 15)


def test_wrong_corners_are_refused() -> None:
    picture = drawn()
    with pytest.raises(LutbenchError, match="not even"):
        read_grid(picture, CORNERS + 25)
    with pytest.raises(LutbenchError, match="outside the picture"):
        read_grid(picture, CORNERS + np.array([0.0, 100.0]))
    with pytest.raises(LutbenchError, match="span no area"):
        read_grid(picture, np.full((4, 2), 50.0))
    with pytest.raises(LutbenchError, match="a grid of 0×4"):
        read_grid(picture, CORNERS, columns=0)


def test_table(tmp_path: Path) -> None:
    path = tmp_path / "patches.csv"
    path.write_text("# Salt Road, day 1\nname, R, G, B\nskin,0.4,0.3,0.2\n,0.5,0.5,0.5\n")
    found = read_patch_table(path)
    assert found.names == ("skin", "patch 2")
    assert found.signal.tolist() == [[0.4, 0.3, 0.2], [0.5, 0.5, 0.5]]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,L,a,b\n", "no columns R, G, B"),
        ("name,R,G,B\n", "no patches"),
        ("R,G,B\n0.1,x,0.2\n", "row 1 .* does not hold 3 numbers"),
        ("R,G,B\n0.1,0.2\n", "row 1 .* does not hold 3 numbers"),
        ("R,G,B\n1,2,nan\n", "NaN"),
        ("R,G,B\n512,300,200\n", "values up to 512"),
    ],
)
def test_tables_that_are_refused(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "patches.csv"
    path.write_text(text)
    with pytest.raises(FormatError, match=words):
        read_patch_table(path)
