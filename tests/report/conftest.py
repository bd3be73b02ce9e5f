"""Headless Chromium for pages, where one is installed."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")


@pytest.fixture(scope="module")
def browser(playwright_: Any) -> Iterator[Any]:
    """Headless Chromium, or a skip with the reason."""
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed")
    flags = (
        "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run "
        "--disable-background-networking --disable-component-update --disable-sync"
    )
    chromium = playwright_.chromium.launch(executable_path=CHROMIUM, args=flags.split())
    yield chromium
    chromium.close()
