"""Pictures of the live bench in each of its states, to look at, and those of its docs page.

`python tests/benchmarks/bench_states.py FOLDER` in a checkout's top folder opens the bench
of the demo's recipe in headless Chromium (playwright) and writes a PNG a state, and the
printed card as PDF; with `--docs` the two pictures of docs/bench.md are made anew.
"""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from PIL import Image
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path("tests/cases").resolve()))

from bench_browser import CHROMIUM, FLAGS, Opened

from lutbench.bench.gather import Order, gather
from lutbench.bench.page import page_html

ALL_SCOPES = "waveform,parade,vectorscope,histogram"
POINT = {"x": 400, "y": 300}
PHONE = {"has_touch": True, "is_mobile": True, "device_scale_factor": 2}
DARK = {"color_scheme": "dark"}

# A state of the page, the size of the window, settings of the browser.
STATES: dict[str, tuple[dict[str, object], tuple[int, int], dict[str, Any]]] = {
    "start": ({}, (1400, 900), {}),
    "start_dark": ({}, (1400, 900), DARK),
    "wipe": ({"lut": "viewing", "against": "viewing_warm_look", "look": "wipe"}, (1400, 900), {}),
    "beside": ({"lut": "viewing", "look": "beside", "scopes": ALL_SCOPES}, (1400, 1700), {}),
    "difference": (
        {"lut": "viewing", "against": "viewing_warm_look", "look": "difference", "gain": 4},
        (1400, 900),
        DARK,
    ),
    "ladder": ({"lut": "viewing", "stops": 2, "ladder": "true", **POINT}, (1400, 900), {}),
    "false_colour": ({"lut": "viewing", "bands": "true", **POINT}, (1400, 1200), {}),
    "zebra_recording": ({"lut": "viewing", "zebra": "recording", "zebraAt": 60}, (1400, 900), {}),
    "zebra_view": ({"lut": "viewing", "zebra": "view", "zebraAt": 90}, (1400, 900), {}),
    "hdr": ({"lut": "hdr_pq", **POINT}, (1400, 900), {}),
    "legal": ({"lut": "viewing_legal", "still": "chart", "bits": 8}, (1400, 900), {}),
    "enlarged": ({"lut": "viewing", "enlarge": 8, **POINT}, (1400, 900), {}),
    "recording": ({"lut": "", "scopes": "waveform,histogram"}, (1400, 900), {}),
    "phone": ({"lut": "viewing", **POINT}, (390, 844), PHONE),
    "phone_small": ({"lut": "viewing", "look": "beside", **POINT}, (320, 568), PHONE | DARK),
    "phone_lying": ({"lut": "viewing", "bands": "true", **POINT}, (844, 390), PHONE),
    "tablet": ({"lut": "viewing", "look": "wipe"}, (820, 1180), {"has_touch": True}),
    "4k": ({"lut": "viewing", "look": "beside", "scopes": ALL_SCOPES}, (3840, 2160), {}),
}

WIDE = {
    "lut": "viewing",
    "against": "viewing_warm_look",
    "look": "wipe",
    "wipe": 0.55,
    "x": 205,
    "y": 180,
    "scopes": "waveform,parade",
}
PHONES: tuple[tuple[dict[str, object], str, bool], ...] = (
    ({"lut": "viewing", "still": "two skins", "bands": "true", "stops": -1}, "expose", False),
    ({"lut": "viewing", "stops": 1, "x": 205, "y": 180}, "measure", True),
    ({"lut": "viewing", "still": "chart", "look": "beside"}, "look", False),
)


class Camera:
    """Opens the bench in one state after another."""

    def __init__(self, browser: Any, page: Path) -> None:
        self.browser = browser
        self.address = page.resolve().as_uri()

    def open(self, state: dict[str, object], size: tuple[int, int], settings: Any) -> Opened:
        viewport = {"width": size[0], "height": size[1]}
        fragment = f"#{urlencode(state)}" if state else ""
        opened = Opened(self.browser, self.address, fragment, viewport=viewport, **settings)
        # The scopes come some frames after the picture.
        opened.view.wait_for_timeout(1500)
        return opened

    def states(self, folder: Path) -> None:
        for name, (state, size, settings) in STATES.items():
            opened = self.open(state, size, settings)
            opened.view.screenshot(path=str(folder / f"{name}.png"))
            if name in ("wipe", "phone"):
                opened.view.pdf(path=str(folder / f"{name}.pdf"), prefer_css_page_size=True)
            if opened.said:
                print(name, opened.said)
            opened.view.close()

    def docs(self, folder: Path) -> None:
        opened = self.open(WIDE, (1400, 900), DARK)
        picture = Image.open(io.BytesIO(opened.view.screenshot())).convert("RGB")
        picture.save(folder / "bench-wide.jpg", quality=88)
        opened.view.close()
        strip = Image.new("RGB", (3 * 390 + 2 * 20, 844), "white")
        for at, (state, place, dark) in enumerate(PHONES):
            settings = {"has_touch": True, "is_mobile": True} | (DARK if dark else {})
            opened = self.open(state, (390, 844), settings)
            opened.view.evaluate(f"document.querySelector('#{place}').scrollIntoView()")
            opened.view.wait_for_timeout(300)
            picture = Image.open(io.BytesIO(opened.view.screenshot()))
            strip.paste(picture, (at * 410, 0))
            opened.view.close()
        strip.save(folder / "bench-phones.jpg", quality=88)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--docs", action="store_true", help="also the pictures of docs/bench.md")
    given = asked.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    from lutbench.bench.contents import Packer

    page = given.folder / "bench.html"
    bench = gather(Order(Path("luts_demo/salt_road.toml")))[0]
    page.write_text(page_html(Packer().data(bench)), encoding="utf-8")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS.split())
        camera = Camera(browser, page)
        camera.states(given.folder)
        if given.docs:
            camera.docs(Path("docs/pictures"))
        browser.close()


if __name__ == "__main__":
    main()
