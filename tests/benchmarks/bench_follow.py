"""How long a served bench takes to show an edit, from the saving of the file to the drawn picture.

    PYTHONPATH=tests/cases python tests/benchmarks/bench_follow.py [EDITS]

The demo's recipe (13 LUTs), and a recipe of one LUT, in headless Chromium with WebGL in
software. Each edit changes an exposure; the page tells by itself when it has drawn it.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path
from statistics import median

from bench_browser import CHROMIUM, FLAGS, Opened
from playwright.sync_api import sync_playwright

from lutbench.bench.gather import Order
from lutbench.bench.serve import BenchServer
from lutbench.resources import demo_files

ONE = """title = "Day"
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "monitor"
exposure = 0.0
"""

WATCH = """() => {
  const {bench} = lutbench;
  const draw = bench.engine.draw.bind(bench.engine);
  let set = bench.data;
  bench.engine.draw = (scene) => {
    draw(scene);
    if (bench.data !== set) {
      set = bench.data;
      bench.engine.gl.finish();
      globalThis.drawnAt = Date.now();
    }
  };
}"""


def edits(recipe: Path, change: tuple[str, str], count: int, browser: object) -> list[float]:
    """Seconds from each saving to the picture."""
    text = recipe.read_text(encoding="utf-8")
    found = []
    with BenchServer(Order(recipe)) as server:
        threading.Thread(target=server.run, daemon=True).start()
        page = Opened(browser, server.address)
        page.view.evaluate(WATCH)
        for number in range(count):
            page.view.evaluate("globalThis.drawnAt = 0")
            time.sleep(0.5)
            begin = time.time()
            edited = re.sub(change[0], f"{change[1]}{2.1 + 0.1 * (number % 9):.1f}", text, count=1)
            assert edited != text
            recipe.write_text(edited, encoding="utf-8")
            page.wait("globalThis.drawnAt > 0")
            found.append(page.view.evaluate("globalThis.drawnAt") / 1000 - begin)
        page.view.close()
    return found


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    with (
        sync_playwright() as playwright,
        tempfile.TemporaryDirectory() as name,
        demo_files() as demo,
    ):
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS.split())
        one, day = Path(name) / "one.toml", Path(name) / "day"
        one.write_text(ONE, encoding="utf-8")
        shutil.copytree(demo, day)
        recipe = day / "salt_road.toml"
        ladder = (r"exposure_ladder = \[-2", "exposure_ladder = [-")
        for path, change in ((one, (r"exposure = 0\.0", "exposure = ")), (recipe, ladder)):
            found = edits(path, change, count, browser)
            print(f"{path.name}: {median(found):.2f} s in the middle, {max(found):.2f} s at most")
        browser.close()


if __name__ == "__main__":
    main()
