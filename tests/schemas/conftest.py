"""The folder that the reports are made in."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).resolve().parents[1] / "docs"))


@pytest.fixture(scope="session")
def day_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As the examples of the manual have it, and more."""
    import prepared
    import reports

    folder = tmp_path_factory.mktemp("reports")
    prepared.prepare(folder)
    reports.more(folder)
    return folder
