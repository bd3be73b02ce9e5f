"""The definitions in a user's own folder: read, or not; a broken one stops nothing else."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lutbench.checks.suite import read_suite
from lutbench.errors import LutbenchError, UnknownNameError
from lutbench.model import catalogue
from lutbench.model.catalogue import USER_VARIABLE, open_catalogue, user_folder

HOUSE = '[curves."House"]\nkind = "power"\ngamma = 2.3\n'
SUITE = """
[[check]]
name = "the house curve rises"
kind = "invariants"
lut = "House to BT.1886; kind=curve; size=5"
hold = ["monotone"]
"""


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv(USER_VARIABLE, raising=False)
    monkeypatch.setattr(catalogue, "_warned", set())
    folder = user_folder()
    folder.mkdir(parents=True)
    return folder


@pytest.mark.parametrize(
    "text",
    [
        "not TOML at all [",
        '[curves."House"]\nkind = "table"\nfile = "gone.csv"\n',
        '[curves."BT.709"]\nkind = "power"\ngamma = 2.3\n',
        '[curves."good"]\nkind = "power"\ngamma = 2.3\n',
    ],
    ids=["no TOML", "a file that is gone", "a standard's name", "differs in case only"],
)
def test_a_broken_file_stops_nothing_else(
    own_folder: Path, text: str, caplog: pytest.LogCaptureFixture
) -> None:
    (own_folder / "a.toml").write_text('[curves."Good"]\nkind = "power"\ngamma = 2.3\n')
    (own_folder / "b.toml").write_text(text)
    with caplog.at_level(logging.WARNING, "lutbench"):
        known = open_catalogue()
        open_catalogue()
    assert known.curve("Good").name == "Good"
    assert known.curve("BT.709").name == "BT.709"
    told = {record.getMessage() for record in caplog.records}
    assert len(told) == 1
    assert str(own_folder / "b.toml") in told.pop()
    with pytest.raises(LutbenchError):
        open_catalogue(own_folder / "b.toml", own_folder / "a.toml")


def test_the_folder_can_be_left_alone(own_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (own_folder / "a.toml").write_text(HOUSE)
    assert open_catalogue().curve("House").name == "House"
    assert "House" not in open_catalogue(user=False).definitions.curves
    for word, found in (("no", False), ("0", False), ("Yes", True), ("1", True), ("", True)):
        monkeypatch.setenv(USER_VARIABLE, word)
        assert ("House" in open_catalogue().definitions.curves) is found
    monkeypatch.setenv(USER_VARIABLE, "perhaps")
    with pytest.raises(LutbenchError, match="LUTBENCH_USER_DEFINITIONS: no answer is named"):
        open_catalogue()


def test_a_suite_does_not_read_it_unless_told(
    own_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (own_folder / "a.toml").write_text(HOUSE)
    suite = tmp_path / "day.lutbench.toml"
    suite.write_text(SUITE)
    assert "House" not in read_suite(suite).catalogue.definitions.curves
    assert "House" in read_suite(suite, [own_folder / "a.toml"]).catalogue.definitions.curves
    monkeypatch.setenv(USER_VARIABLE, "yes")
    assert "House" in read_suite(suite).catalogue.definitions.curves


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "lutbench", *arguments],
        capture_output=True,
        text=True,
        env=dict(os.environ),
        timeout=120,
    )


def test_the_command_line_notes_it_and_goes_on(own_folder: Path) -> None:
    (own_folder / "broken.toml").write_text("not TOML [")
    levels = run("levels", "--curve", "BT.709")
    assert levels.returncode == 0
    assert levels.stderr.count("\n") == 1
    assert levels.stderr.startswith(f"note: your definitions are left out: {own_folder}")
    assert run("levels", "--curve", "BT.709", "--no-user-definitions").stderr == ""
    assert run("levels", "--curve", "BT.709", "--quiet").stderr == ""


def test_options_of_the_command_line(own_folder: Path, tmp_path: Path) -> None:
    (own_folder / "a.toml").write_text(HOUSE)
    assert run("levels", "--curve", "House").returncode == 0
    assert run("levels", "--curve", "House", "--no-user-definitions").returncode == 2
    suite = tmp_path / "day.lutbench.toml"
    suite.write_text(SUITE)
    assert run("verify", str(suite)).returncode != 0
    assert run("verify", str(suite), "--user-definitions").returncode == 0


def test_an_unknown_name_is_still_told(own_folder: Path) -> None:
    with pytest.raises(UnknownNameError):
        open_catalogue().curve("Houze of nobody")
