"""What the tests of the documentation share."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from examples import standing_in
from prepared import prepare


@pytest.fixture(scope="session")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A prepared folder to copy from."""
    folder = tmp_path_factory.mktemp("prepared")
    prepare(folder)
    return folder


@pytest.fixture
def bench_folder(prepared: Path, tmp_path: Path) -> Iterator[Path]:
    """A fresh copy of the prepared folder, and the current folder for the test."""
    folder = tmp_path / "bench"
    shutil.copytree(prepared, folder)
    with standing_in(folder):
        yield folder
