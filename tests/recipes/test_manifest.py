"""A set of LUTs and its manifest: written, checked here, and checked by another tool."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import pytest

from lutbench.checks.runner import run_check
from lutbench.checks.suite import read_suite
from lutbench.cli.build import MANIFEST as NAME
from lutbench.cli.main import main

RECIPE = """\
size = 3
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "one"
[[lut]]
name = "day/two"
exposure = 1.0
"""


@pytest.fixture
def built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("day.toml").write_text(RECIPE)
    assert run("build", "day.toml", "-o", "out", "--manifest") == 0
    Path("suite.toml").write_text(f'[[check]]\nname = "m"\nkind = "manifest"\nfile = "out/{NAME}"')
    return tmp_path / "out"


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    return int(end.value.code or 0)


def outcome() -> tuple[str, str]:
    suite = read_suite("suite.toml")
    found = run_check(suite.checks[0], suite.context())
    return found.status, found.summary


def test_a_manifest_lists_every_file_and_the_recipe(built: Path) -> None:
    lines = (built / NAME).read_text().splitlines()
    rows = dict(reversed(line.split("  ")) for line in lines if not line.startswith("#"))
    assert list(rows) == ["day/two.cube", "one.cube"]
    for name, digest in rows.items():
        assert hashlib.sha256((built / name).read_bytes()).hexdigest() == digest
    recipe = next(line for line in lines if line.startswith("# recipe sha256: "))
    assert recipe in (built / "one.cube").read_text().splitlines()
    assert "numpy" in lines[1]
    assert outcome() == ("passed", "2 files, all as they were written")


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs GNU coreutils")
def test_the_usual_tool_checks_it(built: Path) -> None:
    check = ["sha256sum", "--strict", "-c", NAME]
    assert subprocess.run(check, cwd=built, capture_output=True, check=False).returncode == 0
    (built / "one.cube").write_text("another")
    assert subprocess.run(check, cwd=built, capture_output=True, check=False).returncode == 1


def test_what_is_missing_or_another_is_told(built: Path) -> None:
    (built / "day" / "two.cube").unlink()
    with open(built / "one.cube", "a", encoding="utf-8") as file:
        file.write("\n")
    status, summary = outcome()
    assert status == "failed"
    assert "day/two.cube is missing" in summary
    assert "one.cube is not the file that was written" in summary


@pytest.mark.parametrize("text", ["", "# nothing\n", "x  one.cube\n", f"{'0' * 64}  ../../x\n"])
def test_what_is_no_manifest_fails(text: str, built: Path) -> None:
    (built / NAME).write_text(text)
    assert outcome()[0] == "error"


def test_names_with_other_line_ends(built: Path) -> None:
    """Only a line feed ends a line; Unicode (UAX #14) has more line ends, which names may hold."""
    names = ["a\u2028b", "a\u0085b", "a\fb"]
    luts = "".join(f"[[lut]]\nname = {json.dumps(each)}\n" for each in names)
    Path("day.toml").write_text(RECIPE + luts)
    assert run("build", "day.toml", "-o", "out", "--manifest", "--force") == 0
    status, summary = outcome()
    assert status == "passed", summary
    assert summary.startswith(f"{2 + len(names)} files")


def test_a_manifest_that_is_there_stays(built: Path) -> None:
    for each in built.rglob("*.cube"):
        each.unlink()
    assert run("build", "day.toml", "-o", "out", "--manifest") == 2
    assert not list(built.rglob("*.cube"))
    assert run("build", "day.toml", "-o", "out", "--manifest", "--force") == 0
    assert run("build", "--source-curve", "BT.709", "-o", "a.cube", "--manifest") == 2
