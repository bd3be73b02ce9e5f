"""The demo set is found in the package, in a checkout, or said to be missing."""

from __future__ import annotations

from pathlib import Path

import pytest

from lutbench import LutbenchError, resources


def test_it_is_in_this_checkout_or_package() -> None:
    with resources.demo_files() as folder:
        assert "Salt Road" in (folder / "salt_road.toml").read_text("utf-8")


def test_the_one_in_the_package_comes_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "demo_data").mkdir()
    monkeypatch.setattr(resources, "files", lambda package: tmp_path)
    with resources.demo_files() as folder:
        assert folder == tmp_path / "demo_data"


def test_an_installation_without_it_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(resources, "files", lambda package: tmp_path)
    monkeypatch.setattr(resources, "__file__", str(tmp_path / "lutbench" / "resources.py"))
    with (
        pytest.raises(LutbenchError, match="the demo set is not installed"),
        resources.demo_files(),
    ):
        pass
