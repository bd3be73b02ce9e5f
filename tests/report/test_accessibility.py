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

from lutbench.exposure.levels import levels
from lutbench.inspection.inspection import inspect
from lutbench.model.catalogue import open_catalogue
from lutbench.report.card import card_html
from lutbench.report.monitor_page import monitor_page
from lutbench.report.page import page_html
from lutbench.report.set_sheet import set_sheet_html

AXE = os.environ.get("AXE_CORE", "")

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not AXE, reason="AXE_CORE names no axe.min.js"),
]


def pages() -> dict[str, str]:
    """A page with findings, a set sheet and a card."""
    fold = next(each for each in DEFECTS if each.code == "fold")
    bad = damaged(fold, "log to display, shoulder", 17, 4)
    source: dict[str, Any] = {"source_curve": "ACEScct", "source_gamut": "ACES AP1"}
    found = inspect(bad, **source)
    day = levels(open_catalogue(user=False).curve("ACEScct"), clean("log to display, shoulder", 9))
    return {
        "page": page_html(found),
        "set": set_sheet_html([found, inspect(clean("video to display", 9))]),
        "card": card_html(day),
        "monitor": monitor_page(17),
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 794, 1400])
def test_axe_finds_no_violation(browser: Any, tmp_path: Path, width: int, scheme: str) -> None:
    axe = Path(AXE).read_text(encoding="utf-8")
    for name, html in pages().items():
        file = tmp_path / f"{name}.html"
        file.write_text(html, encoding="utf-8")
        view = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
        view.goto(file.as_uri())
        view.evaluate(axe)
        found = view.evaluate("axe.run()")["violations"]
        said = [(name, each["id"], each["nodes"][0]["html"][:100]) for each in found]
        assert said == []
        view.close()
