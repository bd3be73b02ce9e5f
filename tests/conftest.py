"""What all tests share: one thread of linear algebra to a process."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

# Before NumPy is imported: two processes run the suite, each on a core of its own.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

# How long an example takes says more of what else the machine does.
settings.register_profile("lutbench", deadline=None)
settings.load_profile("lutbench")


@pytest.fixture(scope="session")
def playwright_() -> Iterator[Any]:
    """Playwright, which a process may start only once at a time."""
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        yield playwright
