"""The set sheet: every LUT once, a ladder in order, levels and checksums that are true."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.inspection.inspection import Inspection, inspect
from lutbench.recipes.make import build, build_recipe
from lutbench.recipes.schema import recipe_from_text
from lutbench.report.set_sheet import set_sheet_html, write_set_sheet

RECIPE = """
title = "Day"
source = { curve = "ACEScct", gamut = "ACES AP1" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "view"
size = 17
exposure_ladder = [1, -1, 0]
[[lut]]
name = "tone"
kind = "curve"
size = 17
"""


@pytest.fixture(scope="module")
def luts(tmp_path_factory: pytest.TempPathFactory) -> list[Inspection]:
    folder = tmp_path_factory.mktemp("luts")
    made = build_recipe(recipe_from_text(RECIPE), folder)
    return [inspect(each.path) for each in made]


@pytest.fixture(scope="module")
def sheet(luts: list[Inspection]) -> str:
    return set_sheet_html(luts)


def test_every_lut_once_and_the_ladder_in_order(sheet: str) -> None:
    names = re.findall(r"<h2>(.*?)</h2>", sheet)
    assert names == ["tone.cube", "view_m1.cube", "view_p0.cube", "view_p1.cube"]


def test_what_most_expect_stands_once_and_any_other_with_its_lut(sheet: str) -> None:
    said = re.findall(r"<p[^>]*>([^<]*[Ee]xpects ACEScct[^<]*)</p>", sheet)
    usual = "expects ACEScct, ACES AP1, full range (as the file says)."
    assert said[0].startswith(f"Unless a LUT says otherwise: {usual}")
    assert said[1:] == ["Expects ACEScct, full range (as the file says)."]
    start = sheet.index("<h2>tone.cube")
    assert start < sheet.index(said[1]) < sheet.index("</article>", start)


def test_it_says_what_to_set_the_monitor_to_and_where_a_zebra_stands(
    sheet: str, luts: list[Inspection]
) -> None:
    head = sheet[: sheet.index("<article")]
    assert "Monitor: BT.1886, BT.709; its own LUTs and picture modes off." in head
    assert f"Zebra: {luts[0].box.zebra}." in head
    hdr = build("ACEScct", "BT.2100 PQ", source_gamut="ACES AP1", target_gamut="BT.2020", size=9)
    mixed = set_sheet_html([*luts, inspect(hdr)])
    assert "<p>Monitor: BT.2100 PQ, BT.2020.</p>" in mixed[mixed.index("<article") :]


def test_levels_and_checksums_are_those_of_the_files(sheet: str, luts: list[Inspection]) -> None:
    for each in luts:
        assert each.file is not None
        digest = hashlib.sha256(Path(each.file).read_bytes()).hexdigest()
        assert digest[:16] in sheet
        grey = each.box.lines[0]
        assert grey.label == "grey card"
        assert f"grey card <b>{grey.after:.0f}&nbsp;%</b>" in sheet


def test_the_sheet_needs_nothing_else(sheet: str) -> None:
    addresses = re.findall(r'(?:src|href)\s*=\s*"([^"]+)', sheet)
    assert all(each.startswith("data:") for each in addresses)
    assert len(re.findall(r'<img [^>]*alt="\w', sheet)) == sheet.count("<img ") == 8
    assert "defer to the delivery specification" in sheet


def test_what_is_no_sheet_is_refused(luts: list[Inspection], tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match=r"\.html"):
        write_set_sheet(luts, tmp_path / "set.pdf")
    with pytest.raises(LutbenchError, match="1 to 60"):
        set_sheet_html([])


@pytest.mark.browser
def test_the_sheet_in_a_browser(sheet: str, browser: Any, tmp_path: Path) -> None:
    file = tmp_path / "set.html"
    file.write_text(sheet, encoding="utf-8")
    for width in (390, 1400):
        view = browser.new_page(viewport={"width": width, "height": 900})
        view.goto(file.as_uri())
        assert view.evaluate("document.documentElement.scrollWidth") <= width
        assert view.evaluate("[...document.images].every(i => i.naturalWidth > 0)")
        view.close()
    view = browser.new_page()
    view.goto(file.as_uri())
    printed = view.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    view.close()


@pytest.mark.slow
def test_the_sheet_as_a_picture(luts: list[Inspection], tmp_path: Path) -> None:
    """Every LUT has a cell, and its faces are those through the LUT, pixel for pixel."""
    from lutbench.media.still.still import read_still

    write_set_sheet(luts, tmp_path / "set.png")
    sheet = read_still(tmp_path / "set.png").signal()
    assert sheet.shape[0] > 2 * 250  # two rows of two
    brighter = next(each for each in luts if each.name == "view_p1.cube")
    from lutbench.media.still.pixels import thumbnail
    from lutbench.report.pictures import our_faces, shown_through
    from lutbench.report.set_picture import WIDTH_PX

    shown = shown_through(brighter, thumbnail(our_faces(brighter), WIDTH_PX))
    wanted = np.rint(np.clip(shown[100, :200], 0, 1) * 255)
    rows = np.rint(sheet * 255)
    windows = [rows[:, start : start + 200] for start in range(sheet.shape[1] - 200)]
    assert any((np.abs(each - wanted) < 0.5).all(axis=(1, 2)).any() for each in windows)
    with pytest.raises(LutbenchError, match=r"\.html, \.png"):
        write_set_sheet(luts, tmp_path / "set.pdf")
