"""Headless Chromium with WebGL 2 in software, and benches opened in it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from bench_browser import CHROMIUM, FLAGS, Open, Opened

from lutbench.bench.contents import BenchSet, Packer
from lutbench.bench.page import page_html


@pytest.fixture(scope="session")
def chromium(playwright_: Any) -> Iterator[Any]:
    """The browser, or a skip with the reason."""
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed")
    browser = playwright_.chromium.launch(executable_path=CHROMIUM, args=FLAGS.split())
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def opened(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Open]:
    """Opens a set in the browser as a file; all are closed when the module is done."""
    open_ones: list[Opened] = []
    folder = tmp_path_factory.mktemp("benches")

    def open_it(bench: BenchSet, fragment: str = "", **settings: Any) -> Opened:
        file = folder / f"bench{len(open_ones)}.html"
        file.write_text(page_html(Packer().data(bench)), encoding="utf-8")
        open_ones.append(Opened(chromium, file.as_uri(), fragment, **settings))
        return open_ones[-1]

    yield open_it
    for each in open_ones:
        each.view.close()
