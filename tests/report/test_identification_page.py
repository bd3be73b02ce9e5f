"""The part of the page that says what is inside a LUT."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import lutbench
from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.identification import identify
from lutbench.report.identification import inside
from lutbench.tables.lut import Lut3D


def looked(size: int = 17) -> Lut3D:
    """A conversion with 30 % more saturation after it."""
    table = lutbench.build(
        "ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=size
    ).table
    luma = (table @ np.array([0.2126, 0.7152, 0.0722]))[..., None]
    return Lut3D(np.clip(luma + 1.3 * (table - luma), 0, 1))


def page_of(tmp_path: Path, lut: Lut3D, *options: str) -> str:
    write_cube(lut, tmp_path / "a.cube")
    out = tmp_path / "a.html"
    with pytest.raises(SystemExit) as end:
        main(["inspect", str(tmp_path / "a.cube"), "--page", str(out), *options])
    assert not end.value.code
    # Figures keep to their units by spaces at which no line breaks.
    return out.read_text("utf-8").replace("\u00a0", " ")


def section(page: str) -> str:
    found = re.search(r'<details[^>]*"s-identification">.*?</details>', page, re.S)
    assert found
    return found.group(0)


@pytest.mark.slow
def test_the_section_tells_the_look(tmp_path: Path) -> None:
    text = section(page_of(tmp_path, looked()))
    assert "30 % more saturated" in text
    assert "saturation 1.300" in text
    for heading in ("The look by hue", "The look on the grey scale", "Candidates"):
        assert f"<h3>{heading}</h3>" in text
    # Each drawing has its words beside it and in it.
    drawings = text.count("<svg")
    assert drawings == text.count("<figcaption>") >= 3
    assert text.count('role="img"') == drawings


@pytest.mark.slow
def test_what_the_user_names_is_pinned(tmp_path: Path) -> None:
    text = section(page_of(tmp_path, looked(), "--source-curve", "ACEScct"))
    rows = re.findall(
        r'<tr><td data-head="from">([^<]*)</td>', text.split("<h3>Candidates</h3>")[1]
    )
    assert rows
    assert all(row.startswith("ACEScct /") for row in rows)


def test_a_lut_without_look_has_no_hues(tmp_path: Path) -> None:
    lut = lutbench.build(
        "ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=17
    )
    text = section(page_of(tmp_path, lut))
    assert "none: the remainder is not visible" in text
    assert "The look by hue" not in text
    assert "that of the target" in text


@pytest.mark.slow
def test_the_figures_of_a_look() -> None:
    shown = inside(identify(looked()))
    captions = " ".join(each.caption for each in shown.figures)
    assert "vectorscope" in captions
    assert "remainder" in captions
    by_hue = {row[0]: row for row in shown.hues}
    assert by_hue["blues"][2] == "+30 %"
    assert [row[0] for row in shown.tones] == ["shadows", "mid tones", "highlights"]
    assert all(row[4] == "none" for row in shown.tones)


def test_a_lut_that_always_gives_the_same_has_a_page(tmp_path: Path) -> None:
    page = page_of(tmp_path, Lut3D(np.full((5, 5, 5, 3), 0.5)))
    assert "s-identification" not in page
