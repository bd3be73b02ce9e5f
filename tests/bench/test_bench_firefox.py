"""A second engine: the bench in Firefox draws, measures and keeps its state as in Chromium."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bench_browser import PIXELS, codes_of
from firefox import Firefox, missing

from lutbench.bench.contents import BenchSet, Item, Packer
from lutbench.bench.page import page_html
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.formats.cube_write import format_cube
from lutbench.media.subjects import photograph_light, recorded
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.recipes.make import build
from lutbench.tables.lut import Lut3D, lattice
from lutbench.tables.nodes import sample_behind
from lutbench.tables.shaping import Span, shaper_of

# Software drawing of whole pictures beside a second browser: not for the default suite.
pytestmark = [pytest.mark.browser, pytest.mark.slow]

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
ENDS = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}


@pytest.fixture(scope="module")
def codes() -> Any:
    """The log photograph, 16-bit codes."""
    return np.round(recorded(photograph_light(), SOURCE) * 65535).astype(np.uint16)


@pytest.fixture(scope="module")
def tables() -> dict[str, Any]:
    made: dict[str, Any] = {
        str(size): build("ACEScct", "BT.1886", **ENDS, size=size) for size in (17, 33, 65)
    }
    wide = lattice(21, np.array([[-0.1] * 3, [1.2] * 3]))
    made["domain"] = Lut3D(made["33"].apply(np.clip(wide, 0, 1)), [[-0.1] * 3, [1.2] * 3])
    made["shaper"] = sample_behind(
        made["65"], shaper_of(KNOWN.curve("sRGB"), Span(0.0, 1.0, 4096)), 33
    )
    return made


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    if lacking := missing():
        pytest.skip(f"not installed: {lacking}")
    with Firefox(tmp_path_factory.mktemp("profile")) as started:
        yield started


@pytest.fixture(scope="module")
def page(
    browser: Firefox, tables: Any, codes: Any, tmp_path_factory: pytest.TempPathFactory
) -> Firefox:
    items = tuple(Item(name, name, lut, SOURCE) for name, lut in tables.items())
    still = BenchStill("whole", "a photograph", png_of_codes(codes))
    data = Packer().data(BenchSet("Test", items, SOURCE, "in a test", stills=(still,)))
    file: Path = tmp_path_factory.mktemp("page") / "bench.html"
    file.write_text(page_html(data), encoding="utf-8")
    browser.go(file.as_uri() + "#lut=33&stops=0.5&look=wipe")
    if browser.run("return document.body.innerText.includes('no WebGL 2')"):
        pytest.skip("this Firefox has no WebGL 2")
    browser.run(
        "for (let i = 0; i < 300 && !(globalThis.lutbench?.bench.engine.width > 0); i += 1)"
        " await new Promise((done) => setTimeout(done, 50));"
    )
    return browser


def pixels(page: Firefox, **state: Any) -> Any:
    plain = {"look": "one", "stops": 0, "still": "whole", "scopes": []}
    return codes_of(page.run(f"lutbench.bench.set(given[0]); {PIXELS}", plain | state))


def test_the_address_holds_the_state(page: Firefox) -> None:
    state = page.run("return lutbench.bench.fromAddress()")
    assert (state["lut"], state["stops"], state["look"]) == ("33", 0.5, "wipe")


@pytest.mark.parametrize("interpolation", ["tetrahedral", "trilinear"])
@pytest.mark.parametrize("name", ["17", "33", "65", "domain", "shaper"])
def test_a_whole_photograph_within_one_code(
    page: Firefox, tables: Any, codes: Any, name: str, interpolation: str
) -> None:
    from dataclasses import replace

    lut = tables[name]
    if name == "shaper":
        lut = replace(lut, lut=replace(lut.lut, interpolation=interpolation))
    else:
        lut = replace(lut, interpolation=interpolation)
    wanted = 255 * np.clip(lut.apply(codes / 65535), 0, 1)
    shown = pixels(page, lut=name, interpolation=interpolation)
    assert np.abs(shown - wanted).max() <= 1


def test_a_histogram_counts_as_numpy_does(page: Firefox, codes: Any) -> None:
    """At the levels that 8 bits have, away from the edges between them."""
    pixels(page, lut="")
    counts = page.run(
        "const {engine} = lutbench.bench;"
        "return [...engine.scopes.numbers('histogram', engine.measured()).counts]"
    )
    found = np.array(counts).reshape(256, 4)[:, 1]
    values = codes[..., 1] / 65535 * 255
    wanted = np.bincount(np.floor(values + 0.5).astype(int).ravel(), minlength=256)
    edge = np.abs(values % 1 - 0.5) < 1e-3
    assert found.sum() == values.size
    assert np.abs(found - wanted).sum() <= 2 * edge.sum()


def test_a_dropped_lut_is_looked_through_and_a_bad_one_refused(page: Firefox) -> None:
    drop = (
        "await lutbench.bench.open(new File([given[1]], given[0]));return lutbench.bench.message;"
    )
    turned = format_cube(Lut3D(1 - lattice(9))).decode()
    assert page.run(drop, "turned.cube", turned) == ""
    plain = pixels(page, lut="")
    assert np.abs(pixels(page, lut="turned.cube") - (255 - plain)).max() <= 1
    assert page.run(drop, "bad.cube", "LUT_3D_SIZE 2\n" + "0 0 x\n" * 8).startswith("bad.cube:2: ")


def test_nothing_is_asked_of_anywhere(page: Firefox) -> None:
    asked = page.run("return performance.getEntriesByType('resource').map((each) => each.name)")
    assert [each for each in asked if not each.startswith("data:")] == []
