"""The page of an inspection: what stands in it, and that it opens in a browser by itself."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from damage import DEFECTS, clean, damaged

from lutbench.exposure.levels import levels
from lutbench.identification import identify
from lutbench.inspection.ends import with_identified_ends
from lutbench.inspection.inspection import inspect
from lutbench.media.still.still import Still, write_still
from lutbench.model.catalogue import open_catalogue
from lutbench.report.card import card_html
from lutbench.report.page import page_html
from lutbench.report.plots import WAVE_COLUMNS, WAVE_LEVELS, waveform
from lutbench.report.plots_colour import steps_of
from lutbench.tables.lut import Lut1D, Lut3D

TITLE = "<script>alert(1)</script>"
LIMIT = 3 * 1024 * 1024


def hostile_page() -> str:
    """A LUT with findings and a hostile title, its source known."""
    defect = next(each for each in DEFECTS if each.code == "fold")
    lut = damaged(defect, "log to display, shoulder", 33, 4)
    lut = Lut3D(lut.table, title=TITLE, comments=("a comment", "</pre><script>alert(2)</script>"))
    return page_html(inspect(lut, source_curve="ACEScct", source_gamut="ACES AP1"))


@pytest.fixture(scope="module")
def page() -> str:
    """The page of `hostile_page`, made once."""
    return hostile_page()


def test_a_hostile_title_stays_text(page: str) -> None:
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "&lt;script&gt;alert(2)" in page


def test_the_page_needs_nothing_else(page: str) -> None:
    addresses = re.findall(r'(?:src|href|action|url)\s*[=(]\s*["\']?([^"\')\s>]+)', page)
    assert all(each.startswith(("data:", "#")) for each in addresses)
    assert len(page.encode("utf-8")) < LIMIT
    # Every drawing and picture says what it shows.
    assert len(re.findall(r"<svg", page)) == len(
        re.findall(r'<svg role="img" aria-label="\w', page)
    )
    assert len(re.findall(r"<img ", page)) == len(re.findall(r'<img [^>]*alt="\w', page)) == 4


def test_the_page_tells_what_was_found(page: str) -> None:
    assert "colours double back" in page
    assert "Take care:" in page
    for heading in ("Findings", "Pictures", "Tone", "Levels", "Bit depth", "Colour", "Lattice"):
        assert f">{heading}</h2>" in page
    assert "Cite as: lutbench" in page
    assert "defer to the delivery specification" in page


def test_the_answer_comes_first(page: str) -> None:
    order = ["In short", "Pictures", "Tone", "Findings", "Facts", "Levels"]
    order.append("The file: hash, notes and comments")
    places = [page.index(f">{heading}</h2>") for heading in order]
    assert places == sorted(places)


def test_the_same_lut_gives_the_same_page(page: str) -> None:
    assert hostile_page() == page


def test_an_identification_has_its_section_and_feeds_the_page(page: str) -> None:
    catalogue = open_catalogue(user=False)
    lut = clean("log to video, clipped", 33)
    found = inspect(lut)
    identification = identify(lut, catalogue=catalogue)
    read = with_identified_ends(found, identification, catalogue)
    assert read.source_curve is not None
    assert read.source_curve.name == "ACEScct"
    text = page_html(read, identification=identification)
    assert "What is inside" in text
    assert "confidence high" in text
    assert "What is inside" not in page


def test_a_1d_lut_has_a_page_without_lattice() -> None:
    text = page_html(inspect(Lut1D(np.linspace(0, 1, 256)[:, None].repeat(3, 1) ** 2)))
    assert "Lattice</h2>" not in text
    assert "Tone</h2>" in text


def test_a_still_of_the_users(tmp_path: Path) -> None:
    still = tmp_path / "pan.png"
    pixels = np.zeros((60, 900, 3), np.uint8)
    pixels[..., 0] = 200
    write_still(Still(pixels, ("R", "G", "B"), "8"), still)
    assert "pan.png, as it was recorded" in page_html(inspect(Lut3D.identity(5)), still=still)


def test_waveform_counts_levels() -> None:
    ramp = np.linspace(0, 1, 480, dtype=np.float32)
    picture = np.repeat(np.repeat(ramp[None, :, None], 8, axis=0), 3, axis=2)
    drawn = waveform(picture).astype(int).sum(axis=2)
    assert drawn.shape == (WAVE_LEVELS, WAVE_COLUMNS)
    # The brightest row of each column is where the ramp stands: (signal + 5 %) of 110 %.
    brightest = drawn.argmax(axis=0)
    expected = (ramp[::2] + 0.05) / 1.10 * WAVE_LEVELS
    assert np.abs(brightest - expected).max() <= 1.5


def test_steps_of_an_identity() -> None:
    np.testing.assert_allclose(steps_of(Lut3D.identity(17).table), 1023 / 16)


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1400])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_in_a_browser(
    page: str, browser: Any, tmp_path: Path, width: int, scheme: str
) -> None:
    file = tmp_path / "page.html"
    file.write_text(page, encoding="utf-8")
    view = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    said: list[str] = []
    asked: list[str] = []
    view.on("console", lambda message: said.append(message.text))
    view.on("pageerror", lambda error: said.append(str(error)))
    view.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    view.on("request", lambda request: asked.append(request.url))
    view.goto(file.as_uri())
    view.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert said == []
    assert [each for each in asked if not each.startswith("data:")] == [file.as_uri()]
    assert view.evaluate(
        "[...document.images].every(i => i.complete && i.naturalWidth > 0 && i.width > 100)"
    )
    assert view.evaluate(
        "[...document.querySelectorAll('svg')].every("
        "s => s.getBoundingClientRect().width > 100 && s.getBoundingClientRect().height > 40)"
    )
    assert view.evaluate("document.querySelectorAll('svg').length") >= 9
    # Pictures inside drawings (slices, waveforms) have a size too.
    assert view.evaluate(
        "[...document.querySelectorAll('svg image')].every("
        "i => i.getBoundingClientRect().width > 5)"
    )
    # Nothing sticks out of the page to the side.
    assert view.evaluate("document.documentElement.scrollWidth") <= width
    ground = view.evaluate("getComputedStyle(document.body).backgroundColor")
    light = sum(int(each) for each in re.findall(r"\d+", ground)[:3]) > 384
    assert light == (scheme == "light")
    assert TITLE in view.evaluate("document.body.innerText")
    view.close()


def pages_of(printed: bytes) -> int:
    """The pages of a PDF."""
    return len(re.findall(rb"/Type\s*/Page\b", printed))


@pytest.mark.browser
def test_the_page_prints_on_four_sheets_and_no_heading_stands_alone(
    page: str, browser: Any, tmp_path: Path
) -> None:
    """Folded parts are left out, with their headings; an open one is printed."""
    file = tmp_path / "page.html"
    file.write_text(page, encoding="utf-8")
    view = browser.new_page()
    view.goto(file.as_uri())
    assert pages_of(view.pdf(prefer_css_page_size=True)) <= 4
    view.emulate_media(media="print")
    shown = view.evaluate(
        "[...document.querySelectorAll('h2')].filter(h => h.offsetParent).map(h => h.textContent)"
    )
    assert shown == ["In short", "Pictures", "Tone", "Findings"]
    # What stands under a heading is on its sheet: neither may be torn off.
    torn = "h => getComputedStyle(h).breakAfter != 'avoid'"
    assert view.evaluate(f"[...document.querySelectorAll('h2, h3')].filter({torn}).length") == 0
    assert view.evaluate(
        "[...document.querySelectorAll('.pair')].every("
        "p => getComputedStyle(p).breakInside == 'avoid')"
    )
    view.evaluate("document.querySelector('details').open = true")
    assert view.evaluate("document.querySelector('details dl').offsetParent !== null")
    view.close()


@pytest.mark.browser
def test_a_phone_shows_every_column(page: str, browser: Any, tmp_path: Path) -> None:
    """With all that is folded opened nothing is wider than the phone, and nothing scrolls."""
    file = tmp_path / "page.html"
    file.write_text(page, encoding="utf-8")
    view = browser.new_page(viewport={"width": 390, "height": 844})
    view.goto(file.as_uri())
    view.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert view.evaluate(
        "[...document.querySelectorAll('td, th, figure, svg')].every("
        "e => e.getBoundingClientRect().right <= 391)"
    )
    assert view.evaluate(
        "[...document.querySelectorAll('main *:not(svg *)')].every("
        "e => !['auto', 'scroll'].includes(getComputedStyle(e).overflowX) "
        "|| e.scrollWidth <= e.clientWidth + 1)"
    )
    view.close()


@pytest.mark.browser
def test_the_card_prints_on_one_page(browser: Any, tmp_path: Path) -> None:
    day = levels(
        open_catalogue(user=False).curve("ACEScct"),
        clean("log to display, shoulder", 9),
        lut_name="day.cube",
        zebra_min=50,
        over_exposure=3.2,
    )
    file = tmp_path / "card.html"
    file.write_text(card_html(day), encoding="utf-8")
    view = browser.new_page(viewport={"width": 390, "height": 800})
    view.goto(file.as_uri())
    assert view.evaluate("document.documentElement.scrollWidth") <= 390
    printed = view.pdf(prefer_css_page_size=True)
    assert pages_of(printed) == 1
    view.close()
