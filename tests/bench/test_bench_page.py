"""The page of a bench: self-contained, closed to hostile names, accessible, linked."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lutbench.bench.contents import BenchSet, Item, Packer
from lutbench.bench.gather import Order, gather
from lutbench.bench.page import built, page_html
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.tables.lut import Lut1D, Lut3D

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
AXE = Path(__file__).parents[2] / "lutbench/bench/web/node_modules/axe-core/axe.min.js"
PAGE_LIMIT = 400_000

HOSTILE = (
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(2)>",
    "--><svg onload=alert(3)>",
    '" onmouseover="alert(4)" x="',
    "javascript:alert(5)",
    "{{7*7}}${alert(6)}`",
    "\u2028\u202e\u0000 &amp; http://localhost:9/x",
)


def hostile_set() -> BenchSet:
    """Every text of a set is hostile."""
    grey = png_of_codes(np.full((8, 12, 3), 30000, np.uint16))
    items = tuple(
        Item(name, name[::-1] + name, Lut3D.identity(3, title=name), SOURCE, file=name)
        for name in HOSTILE
    )
    stills = tuple(BenchStill(name, name, grey) for name in HOSTILE)
    return BenchSet(HOSTILE[0], items, SOURCE, HOSTILE[1], stills=stills, notes=HOSTILE)


def test_the_page_without_luts_and_stills_is_small() -> None:
    data = Packer().data(BenchSet("Salt Road", (), SOURCE, "named"))
    assert len(page_html(data).encode("utf-8")) < PAGE_LIMIT


def test_the_page_reaches_nowhere_and_has_one_script() -> None:
    text = page_html(Packer().data(hostile_set()))
    assert len(re.findall(r"<script", text)) == 2
    assert len(re.findall(r"</script", text)) == 2
    assert "connect-src 'none'" in text
    assert not re.search(r"unsafe-(inline|eval)", text)
    # No address of anywhere but the namespace of SVG and what the hostile names hold.
    addresses = set(re.findall(r"https?://[^\"'\s)]+", built("bench.js") + built("bench.css")))
    assert addresses <= {"http://www.w3.org/2000/svg"}


def test_the_same_set_gives_the_same_page() -> None:
    first, second = (page_html(Packer().data(hostile_set())) for _ in range(2))
    assert first == second


@pytest.mark.browser
def test_hostile_texts_start_no_script_and_no_request(opened: Any) -> None:
    page = opened(hostile_set())
    for name in page.view.evaluate("lutbench.bench.shelves.map((shelf) => shelf.name)"):
        page.set(lut=name, against=name, still=name, look="wipe", x=3, y=3, bands=True)
        page.view.wait_for_timeout(60)
    page.drop("<img src=x onerror=alert(7)>.cube", b"LUT_1D_SIZE 2\n0 0 0\n1 1 1\n")
    page.drop("<img src=x onerror=alert(8)>.png", b"<script>alert(9)</script>")
    page.view.wait_for_timeout(200)
    shown = page.view.inner_text("body")
    assert HOSTILE[1] in shown
    assert "\u202e" not in shown
    assert page.said == []
    assert page.asked == [page.address]


@pytest.mark.browser
def test_a_hostile_fragment_changes_nothing(opened: Any) -> None:
    fragment = "#lut=<script>&wipe=NaN&stops=1e9&look=constructor&scopes=__proto__&x=-5&gain=3"
    page = opened(hostile_set(), fragment)
    state = page.view.evaluate("lutbench.bench.state")
    start = page.view.evaluate("lutbench.bench.start")
    assert state == start | {"scopes": []}
    assert page.said == []


RECIPE = """
title = "Day"
size = 9
source = { curve = "ACEScct", gamut = "ACES AP1" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "monitor"
[[lut]]
name = "warm"
look = { cdl = { slope = [1.1, 1.0, 0.9] } }
[[lut]]
name = "ladder"
exposure_ladder = [-2, -1, 0, 1, 2]
[[lut]]
name = "legal"
target = { range = "legal" }
[[lut]]
name = "hdr"
target = { curve = "BT.2100 PQ", gamut = "BT.2020" }
"""


@pytest.fixture(scope="module")
def shared(opened: Any, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A set with something of everything, its LUTs and stills small, opened once."""
    recipe = tmp_path_factory.mktemp("recipe") / "day.toml"
    recipe.write_text(RECIPE)
    bench = gather(Order(recipe))[0]
    return opened(replace(bench, stills=bench.stills[2:] + bench.stills[1:2]))


@pytest.fixture
def page(shared: Any) -> Any:
    shared.view.set_viewport_size({"width": 1100, "height": 700})
    shared.start_over()
    return shared


@pytest.mark.browser
def test_the_state_survives_a_reload(page: Any) -> None:
    change = {
        "still": "chart",
        "lut": "warm",
        "against": "hdr",
        "look": "wipe",
        "wipe": 0.3,
        "stops": -1.5,
        "zebra": "view",
        "zebraAt": 60,
        "scopes": ["parade", "vectorscope"],
        "bits": 8,
        "x": 40,
        "y": 50,
        "bands": True,
        "enlarge": 2,
        "interpolation": "trilinear",
        "measured": "second",
        "hdr": False,
    }
    page.set(**change)
    before = page.view.evaluate("lutbench.bench.state")
    shown = page.pixels()
    page.view.reload()
    page.wait_for_picture()
    page.set()
    assert page.view.evaluate("lutbench.bench.state") == before
    assert before == before | change
    np.testing.assert_array_equal(page.pixels(), shown)
    # A link into a page that is already open.
    page.view.evaluate("location.hash = '#lut=legal&stops=1'")
    page.wait("lutbench.bench.state.lut === 'legal' && lutbench.bench.state.stops === 1")


@pytest.mark.browser
def test_the_ladder_brings_the_exposure_back(page: Any) -> None:
    page.set(lut="ladder_p0", stops=-2, ladder=True)
    assert page.view.evaluate("lutbench.bench.chosen().name") == "ladder_p2"
    page.set(stops=0.9)
    assert page.view.evaluate("lutbench.bench.chosen().name") == "ladder_m1"
    page.set(lut="warm")
    assert page.view.evaluate("lutbench.bench.chosen().name") == "warm"


@pytest.mark.browser
def test_by_keyboard(page: Any) -> None:
    page.view.focus(".frame canvas")
    for key in ("ArrowRight", "Shift+ArrowDown", "+", "l"):
        page.view.keyboard.press(key)
    state = page.view.evaluate("lutbench.bench.state")
    width, height = page.view.evaluate(
        "[lutbench.bench.engine.width, lutbench.bench.engine.height]"
    )
    assert (state["x"], state["y"]) == (width // 2 + 1, height // 2 + 10)
    assert state["stops"] == pytest.approx(1 / 3, abs=1e-3)
    assert state["lut"] == "warm"
    assert "percent" in page.view.inner_text("[role=status]")
    page.view.keyboard.down("o")
    assert page.view.evaluate("lutbench.bench.swapped")
    page.view.keyboard.up("o")
    assert not page.view.evaluate("lutbench.bench.swapped")
    assert page.said == []


@pytest.mark.browser
def test_by_pointer(page: Any) -> None:
    page.set(look="wipe")
    page.view.wait_for_timeout(200)
    box = page.view.locator(".frame canvas").bounding_box()
    middle = box["y"] + box["height"] / 2
    page.view.mouse.move(box["x"] + 0.5 * box["width"], middle)
    page.view.mouse.down()
    page.view.mouse.move(box["x"] + 0.25 * box["width"], middle)
    page.view.mouse.up()
    assert page.view.evaluate("lutbench.bench.state.wipe") == pytest.approx(0.25, abs=0.01)
    page.view.mouse.move(box["x"] + 0.9 * box["width"], middle)
    at = page.view.evaluate("lutbench.bench.state.x / lutbench.bench.engine.width")
    assert at == pytest.approx(0.9, abs=0.01)


VIEWS = [(320, 568), (390, 844), (844, 390), (1400, 900), (3840, 2160)]


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height"), VIEWS)
def test_nothing_sticks_out(page: Any, width: int, height: int) -> None:
    page.view.set_viewport_size({"width": width, "height": height})
    page.set(look="wipe", zebra="view", bands=True, scopes=["waveform", "vectorscope"])
    page.view.wait_for_timeout(300)
    assert page.view.evaluate("document.documentElement.scrollWidth") <= width
    frame = page.view.locator(".frame").bounding_box()
    assert frame["width"] > 0.4 * width or frame["height"] > 0.5 * height
    aspect = page.view.evaluate("lutbench.bench.engine.width / lutbench.bench.engine.height")
    assert frame["width"] / frame["height"] == pytest.approx(aspect, rel=0.01)


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(page: Any, scheme: str) -> None:
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: `npm ci` in lutbench/bench/web")
    page.view.emulate_media(color_scheme=scheme)
    page.set(look="wipe", zebra="view", bands=True, ladder=True, lut="ladder_p0", scopes=["parade"])
    axe = AXE.read_text(encoding="utf-8")
    for width, height in ((390, 844), (1400, 900)):
        page.view.set_viewport_size({"width": width, "height": height})
        page.view.wait_for_timeout(200)
        found = page.view.evaluate(
            f"async () => {{ {axe}; return (await axe.run()).violations.map("
            "(v) => v.id + ': ' + v.nodes.map((n) => n.html).join(' | ')); }"
        )
        assert found == []


@pytest.mark.browser
def test_nothing_moves_where_less_motion_is_wanted(page: Any) -> None:
    page.view.set_viewport_size({"width": 390, "height": 844})
    page.view.emulate_media(reduced_motion="reduce")
    page.view.evaluate("scrollTo(0, 0)")
    # At once, in the same task: a smooth way there would take several frames.
    moved = page.view.evaluate(
        "() => { document.querySelector('nav a[href=\"#trust\"]').click(); return scrollY; }"
    )
    assert moved > 300
    assert page.view.evaluate("document.getAnimations().length") == 0
    page.view.emulate_media(reduced_motion="no-preference")


@pytest.mark.browser
def test_the_view_prints_as_a_card(page: Any) -> None:
    page.set(scopes=["waveform"])
    page.view.wait_for_timeout(300)
    printed = page.view.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1


INSIDE = """() => {
  const box = (name) => document.querySelector(name).getBoundingClientRect();
  const [hold, frame, canvas] = [box(".hold"), box(".frame"), box(".frame canvas")];
  const within = (inner, outer) =>
    inner.left >= outer.left - 1 && inner.right <= outer.right + 1 &&
    inner.top >= outer.top - 1 && inner.bottom <= outer.bottom + 1;
  return within(canvas, frame) && within(frame, hold);
}"""


@pytest.mark.browser
@pytest.mark.parametrize("look", ["one", "beside"])
def test_the_whole_picture_is_printed(page: Any, look: str) -> None:
    page.view.set_viewport_size({"width": 1900, "height": 1000})
    page.set(look=look)
    page.view.emulate_media(media="print")
    try:
        assert page.view.evaluate(INSIDE)
    finally:
        page.view.emulate_media(media="screen")


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 1000, 1400])
def test_percent_after_the_lut_is_seen_without_moving_the_table(page: Any, width: int) -> None:
    page.view.set_viewport_size({"width": width, "height": 700})
    seen = page.view.evaluate(
        """() => {
          const titles = [...document.querySelectorAll(".levels thead th")];
          const title = titles.find((each) => each.textContent === "LUT %");
          const room = document.querySelector(".scroll").getBoundingClientRect();
          return title.getBoundingClientRect().right <= room.right + 1;
        }"""
    )
    assert seen


@pytest.mark.browser
def test_without_a_source_the_page_says_what_it_lacks(opened: Any) -> None:
    grey = BenchStill("grey", "a test", png_of_codes(np.full((8, 12, 3), 30000, np.uint16)))
    lut = Lut1D(np.linspace(0, 1, 9)[:, None].repeat(3, 1) ** 2)
    page = opened(BenchSet("Test", (Item("a", "a LUT", lut),), stills=(grey,)))
    page.set(x=2, y=2)
    page.wait("document.body.innerText.includes('No stops: the curve of the recording is')")
    assert page.view.is_disabled("#expose input[type=range]")
    assert page.said == []
