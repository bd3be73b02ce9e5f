"""The fuzzer's damaged files, dropped on the page: each is taken or refused in one line.

None of them starts a script or a request, and the page goes on working.
"""

from __future__ import annotations

import sys
from base64 import b64encode
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from lutbench.bench.contents import BenchSet, Item
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.tables.lut import Lut3D

sys.path.append(str(Path(__file__).parents[1] / "fuzz"))
from mutations import cases  # found by the line above

pytestmark = pytest.mark.browser

SUFFIXES = {"cube": "cube", "png": "png", "jpeg": "jpg", "tiff": "tif", "clf": "clf"}

DROP = """async (files) => {
  const {bench} = lutbench;
  const told = [];
  for (const [name, text] of files) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    await bench.open(new File([bytes], name));
    await bench.showStill();
    if (!bench.message) bench.engine.draw(bench.scene());
    told.push(bench.message);
  }
  return told;
}"""


def mutants(kind: str, count: int) -> list[bytes]:
    """The first damaged files of a kind, the same ones at every run."""
    found: list[bytes] = []

    @settings(
        max_examples=count,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(cases(kind))
    def take(data: bytes) -> None:
        found.append(data)

    take()
    return found


@pytest.fixture(scope="module")
def page(opened: Any) -> Any:
    grey = BenchStill("grey", "a test", png_of_codes(np.full((8, 8, 3), 30000, np.uint16)))
    return opened(BenchSet("Test", (Item("lut", "a LUT", Lut3D.identity(2)),), stills=(grey,)))


def drop_all(page: Any, kind: str, count: int) -> int:
    """Drop mutants of a kind; how many the page took."""
    mark = "<img src=x onerror=alert(1)>\u202e"
    files = [
        [f"{mark}{number}.{SUFFIXES[kind]}", b64encode(data).decode("ascii")]
        for number, data in enumerate(mutants(kind, count))
    ]
    assert len(files) >= count
    told = page.view.evaluate(DROP, files)
    for (name, _), message in zip(files, told, strict=True):
        assert not message or message.startswith(name.replace("\u202e", "\ufffd")), message
        assert len(message.splitlines()) <= 1
        assert len(message) < 400
    assert "\u202e" not in page.view.inner_text("body")
    assert page.said == []
    assert page.asked == [page.address]
    page.start_over()
    page.set(lut="", still="grey")
    # The page still shows what it is asked for: 30000 of 65535 is 116.7 of 255.
    assert np.abs(page.pixels() - 30000 / 257).max() <= 1
    return told.count("")


@pytest.mark.parametrize("kind", ["cube", "png", "jpeg"])
def test_damaged_files_dropped_on_the_page(page: Any, kind: str) -> None:
    drop_all(page, kind, 24)


@pytest.mark.slow
def test_damaged_files_dropped_at_length(page: Any) -> None:
    taken = {kind: drop_all(page, kind, 600) for kind in SUFFIXES}
    # Damage that always shows at once would test nothing behind the first check.
    assert all(taken[kind] > 30 for kind in ("cube", "png", "jpeg")), taken
    assert taken["tiff"] == taken["clf"] == 0
