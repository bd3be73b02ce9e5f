"""Contact sheets: the pictures on them, pixel for pixel, their names and levels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from skimage import data

from lutbench import LutbenchError
from lutbench.media.sheet import (
    Cell,
    _folded,
    before_after_sheet,
    draw_sheet,
    levels_of,
    lut_sheet,
    write_sheet,
)
from lutbench.media.still.pixels import thumbnail
from lutbench.media.still.still import Still
from lutbench.tables.lut import Lut3D

GROUND = (0x2B, 0x2B, 0x2B)


@pytest.fixture(scope="module")
def still() -> Still:
    return Still(np.ascontiguousarray(data.coffee()), ("R", "G", "B"), "8", "png")


def count_places(sheet: NDArray[np.uint8], picture: NDArray[np.uint8]) -> int:
    """How often a picture stands in a sheet, pixel for pixel."""
    height, width = picture.shape[:2]
    first = (
        sheet[: sheet.shape[0] - height + 1, : sheet.shape[1] - width + 1] == picture[0, 0]
    ).all(axis=-1)
    return sum(
        np.array_equal(sheet[y : y + height, x : x + width], picture) for y, x in np.argwhere(first)
    )


def shown(signal: NDArray[np.float32]) -> NDArray[np.uint8]:
    return np.rint(np.clip(signal, 0, 1) * 255).astype(np.uint8)


def test_one_still_through_every_lut(still: Still, tmp_path: Path) -> None:
    luts = [(f"gamma {power}", Lut3D(Lut3D.identity(17).table ** power)) for power in (0.7, 1.4)]
    sheet = lut_sheet(still, luts, heading="Salt Road", subheading="through 2 LUTs", cell_width=240)
    small = thumbnail(still, 240)
    for _, lut in luts:
        assert count_places(sheet, shown(lut.apply(small))) == 1
    assert count_places(sheet, shown(small)) == 1
    write_sheet(sheet, tmp_path / "sheet.png")
    with Image.open(tmp_path / "sheet.png") as picture:
        np.testing.assert_array_equal(np.asarray(picture), sheet)


def test_a_thumbnail_is_the_area_average(still: Still) -> None:
    """Against the mean over whole blocks, where the size divides."""
    small = thumbnail(still, still.width // 4)
    blocks = still.signal().reshape(still.height // 4, 4, still.width // 4, 4, 3)
    np.testing.assert_allclose(small, blocks.mean(axis=(1, 3)), atol=1e-6)


def test_before_and_after_stand_side_by_side(still: Still) -> None:
    lut = Lut3D(1 - Lut3D.identity(5).table)
    small = thumbnail(still, 250)
    sheet = before_after_sheet([("a.dpx", small), ("b.dpx", small)], lut, heading="inverse")
    joint = np.full((small.shape[0], 4, 3), GROUND, np.uint8)
    pair = np.concatenate([shown(small), joint, shown(lut.apply(small))], axis=1)
    assert count_places(sheet, pair) == 2


def test_the_name_and_the_levels_are_drawn() -> None:
    """Two sheets that differ in a label differ where the label stands, and nowhere else."""
    grey = np.full((80, 240, 3), 0.4, np.float32)
    one, two = (draw_sheet([Cell(grey, name)]) for name in ("salt $1$", "brine"))
    rows = np.flatnonzero((one != two).any(axis=(1, 2)))
    assert 28 + 80 + 13 < rows.min() <= rows.max() < 28 + 80 + 40
    # The notch of the median stands at 40 % of the track.
    light = np.flatnonzero((one[28 + 80 + 5] > 200).all(axis=-1))
    assert abs(light.mean() - (28 + 0.4 * 240)) <= 1


def test_a_long_subheading_is_folded_and_not_cut(still: Still) -> None:
    """One narrow frame: the parts of the line stand whole in several lines."""
    small = thumbnail(still, 64)
    parts = ["ACEScct: black at 7 % → 2 %", "grey 18 % at 41 % → 49 %", "white 90 % at 55 % → 72 %"]
    lines = {}
    for count in (1, 3):
        sheet = before_after_sheet(
            [("a.dpx", small)],
            Lut3D.identity(2),
            heading="",
            subheading=",  ".join(parts[:count]),
        )
        top = sheet[: -small.shape[0] - 62 - 20]  # what stands over the pictures
        ink = (top != GROUND).any(axis=(1, 2))
        lines[count] = int((np.diff(ink.astype(int)) == 1).sum())
        # Ink up to the right margin would be a line that has been cut.
        assert not (top[:, -28:] != GROUND).any()
    assert lines[3] > lines[1] == 1
    assert _folded(",  ".join(parts), 300) == [f"{parts[0]},", f"{parts[1]},", parts[2]]


def test_levels_are_percentiles_of_the_luma() -> None:
    ramp = np.repeat(np.linspace(0, 1, 1001, dtype=np.float32)[None, :, None], 3, axis=2)
    levels = levels_of(ramp)
    assert (levels.low, levels.median, levels.high) == pytest.approx((0.01, 0.5, 0.99), abs=1e-6)
    assert str(levels) == "1–99 %, median 50 %"


def test_nothing_and_too_much_are_refused() -> None:
    with pytest.raises(LutbenchError, match="no picture"):
        draw_sheet([])
    tiny = np.zeros((2, 2, 3), np.float32)
    with pytest.raises(LutbenchError, match="too many for one sheet; accepted: at most 400"):
        draw_sheet([Cell(tiny, "x")] * 401)
    large = np.zeros((6000, 8000, 3), np.float32)
    with pytest.raises(LutbenchError, match="too large"):
        draw_sheet([Cell(large, "x")] * 6)
