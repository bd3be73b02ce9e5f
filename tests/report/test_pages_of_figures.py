"""The pages of a display check and of a comparison: on a phone, on a wide screen, printed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from damage import clean
from simulated_displays import ADDITIVE, read_by_meter

from lutbench.display.check import check_display
from lutbench.display.patches import patch_set
from lutbench.measure.comparison import compare
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709
from lutbench.report.difference_page import difference_html
from lutbench.report.display_page import SHOWN_PATCHES, display_html
from lutbench.report.monitor_page import monitor_page

LONG = "a_view_with_a_name_that_is_far_wider_than_a_telephone_held_upright.cube"

PRINT_WIDTH = 688
"""CSS pixels between the margins of A4 that the pages set, 14 mm each."""

TO_THE_RIGHT = """width => [...document.querySelectorAll('main, main *:not(svg *):not(thead *)')]
  .filter(e => e.getBoundingClientRect().right > width + 1).map(e => e.outerHTML.slice(0, 90))"""
SCROLLING = """() => [...document.querySelectorAll('main *:not(svg *)')]
  .filter(e => ['auto', 'scroll', 'hidden'].includes(getComputedStyle(e).overflowX)
               && e.localName != 'thead' && e.scrollWidth > e.clientWidth + 1)
  .map(e => e.outerHTML.slice(0, 90))"""
UNSEEN = """() => [...document.querySelectorAll('td, figure, svg')]
  .filter(e => !e.closest('details:not([open])'))
  .filter(e => e.getBoundingClientRect().width < 8 || e.getBoundingClientRect().height < 8)
  .map(e => e.outerHTML.slice(0, 90))"""
SMALL_TEXT = """() => [...document.querySelectorAll('svg text')]
  .filter(e => { const {a, b} = e.getScreenCTM();
                 return parseFloat(getComputedStyle(e).fontSize) * Math.hypot(a, b) < 8; })
  .map(e => e.textContent)"""
LEFT_OF_LISTS = """() => [...document.querySelectorAll('ol')].map(e => getComputedStyle(e))
  .map(s => parseFloat(s.paddingLeft) >= 1.5 * parseFloat(s.fontSize))"""
NAMES = """() => [...document.querySelectorAll('td')]
  .filter(e => getComputedStyle(e, '::before').content.includes(e.dataset.head)).length"""


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    """Both pages, with names of files that are wider than a phone."""
    read = read_by_meter(ADDITIVE["a gamma for each channel"], patch_set("short"))
    sides = (clean("log to display, shoulder", 9), clean("video to display", 9))
    found = compare(*sides)
    return {
        "display": display_html(check_display(read, Bt1886(), BT709), LONG),
        "difference": difference_html(found, (LONG, f"b_{LONG}"), sides),
    }


@pytest.mark.browser
@pytest.mark.parametrize("name", ["display", "difference"])
@pytest.mark.parametrize(
    ("width", "media"), [(390, "screen"), (700, "screen"), (1400, "screen"), (PRINT_WIDTH, "print")]
)
def test_nothing_is_wider_than_the_page(
    pages: dict[str, str], browser: Any, tmp_path: Path, name: str, width: int, media: str
) -> None:
    file = tmp_path / "page.html"
    file.write_text(pages[name], encoding="utf-8")
    view = browser.new_page(viewport={"width": width, "height": 844})
    view.emulate_media(media=media)
    view.goto(file.as_uri())
    assert view.evaluate("document.documentElement.scrollWidth") <= width
    assert view.evaluate(TO_THE_RIGHT, width) == []
    assert view.evaluate(SCROLLING) == []
    assert view.evaluate(UNSEEN) == []
    assert view.evaluate(SMALL_TEXT) == []
    # Where the headings of a table are not shown, each cell has its own.
    cells = view.evaluate("document.querySelectorAll('td').length")
    assert view.evaluate(NAMES) == (cells if width == 390 else 0)
    view.close()


@pytest.mark.slow
@pytest.mark.browser
def test_pages_print_on_few_sheets(browser: Any, tmp_path: Path) -> None:
    """A display check of 204 patches on four; what is folded is left out, but not its number."""
    shown = patch_set("usual")
    read = read_by_meter(ADDITIVE["a gamma for each channel"], shown)
    display = display_html(check_display(read, Bt1886(), BT709), LONG)
    for name, page, most in (("display", display, 4), ("monitor", monitor_page(33), 1)):
        file = tmp_path / f"{name}.html"
        file.write_text(page, encoding="utf-8")
        view = browser.new_page(viewport={"width": PRINT_WIDTH, "height": 844})
        view.goto(file.as_uri())
        printed = view.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) <= most
        view.emulate_media(media="print")
        words = view.evaluate("document.body.innerText")
        lists = view.evaluate(LEFT_OF_LISTS)
        view.close()
        if name == "display":
            assert f"The {SHOWN_PATCHES} largest errors of {len(read.names)} patches" in words
            assert "The other" not in words
        else:
            # "5. " is a digit, a point and a space: under one and a half times its size.
            assert lists == [True]


def test_every_cell_has_the_heading_of_its_column(pages: dict[str, str]) -> None:
    for page in pages.values():
        for table in re.findall(r"<table.*?</table>", page, re.DOTALL):
            heads = re.findall(r"<th [^>]*>(.*?)</th>", table)
            rows = re.findall(r"<tr[^>]*>((?:<td.*?</td>)+)</tr>", table)
            assert rows
            for row in rows:
                assert re.findall(r'data-head="([^"]*)"', row) == heads
