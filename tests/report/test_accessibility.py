"""The pages by axe-core: no violation, on a phone, as wide as A4 and wide, light and dark.

axe-core is fetched with npm and not part of the project: `npm install axe-core`, then
`AXE_CORE=node_modules/axe-core/axe.min.js`.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from damage import DEFECTS, clean, damaged
from simulated_displays import ADDITIVE, read_by_meter

import lutbench
from lutbench.cli.main import main
from lutbench.display.check import check_display
from lutbench.display.patches import patch_set
from lutbench.exposure.levels import levels
from lutbench.inspection.inspection import inspect
from lutbench.measure.comparison import compare
from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709
from lutbench.report.card import card_html
from lutbench.report.difference_page import difference_html
from lutbench.report.display_page import display_html
from lutbench.report.monitor_page import monitor_page
from lutbench.report.page import page_html
from lutbench.report.set_sheet import set_sheet_html

AXE = os.environ.get("AXE_CORE", "")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not AXE, reason="AXE_CORE names no axe.min.js"),
]


POST = """
source = { curve = "ACEScct", gamut = "ACES AP1" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "warm"
size = 9
look = { cdl = { slope = [1.05, 1.0, 0.95], saturation = 0.8 } }
"""


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A page with findings, a set sheet, a card, the monitor test, and the proof for post."""
    folder = tmp_path_factory.mktemp("pages")
    (folder / "day.toml").write_text(POST, encoding="utf-8")
    with pytest.raises(SystemExit) as end:
        main(["build", str(folder / "day.toml"), "-o", str(folder), "--post"])
    assert not end.value.code
    files = {"proof": folder / "post" / "proof.html"}
    for name, html in pages().items():
        files[name] = folder / f"{name}.html"
        files[name].write_text(html, encoding="utf-8")
    return files


def pages() -> dict[str, str]:
    """The pages that come from results."""
    fold = next(each for each in DEFECTS if each.code == "fold")
    bad = damaged(fold, "log to display, shoulder", 17, 4)
    source: dict[str, Any] = {"source_curve": "ACEScct", "source_gamut": "ACES AP1"}
    found = inspect(bad, **source)
    day = levels(open_catalogue(user=False).curve("ACEScct"), clean("log to display, shoulder", 9))
    read = read_by_meter(ADDITIVE["a gamma for each channel"], patch_set("short"))
    sides = (clean("log to display, shoulder", 9), clean("video to display", 9))
    hdr = inspect(lutbench.build(
        "ACEScct", "BT.2100 PQ", source_gamut="ACES AP1", target_gamut="BT.2020", size=9
    ))  # fmt: skip
    return {
        "page": page_html(found),
        "identified": page_html(inspect(sides[0]), identification=lutbench.identify(sides[0])),
        "hdr": page_html(hdr),
        "set": set_sheet_html([found, inspect(clean("video to display", 9))]),
        "card": card_html(day),
        "monitor": monitor_page(17),
        "display": display_html(check_display(read, Bt1886(), BT709), "second.csv"),
        "difference": difference_html(compare(*sides), ("a.cube", "b.cube"), sides),
    }


@pytest.mark.parametrize(
    ("width", "scheme", "media"),
    [
        *((width, scheme, "screen") for width in (390, 794, 1400) for scheme in ("light", "dark")),
        (794, "light", "print"),
    ],
)
def test_axe_finds_no_violation(
    written: dict[str, Path], browser: Any, width: int, scheme: str, media: str
) -> None:
    axe = Path(AXE).read_text(encoding="utf-8")
    for name, file in written.items():
        view = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
        view.emulate_media(media=media)
        view.goto(file.as_uri())
        view.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        view.evaluate(axe)
        found = view.evaluate("axe.run()")["violations"]
        said = [(name, each["id"], each["nodes"][0]["html"][:100]) for each in found]
        assert said == []
        assert view.evaluate("document.documentElement.scrollWidth") <= width
        view.close()
