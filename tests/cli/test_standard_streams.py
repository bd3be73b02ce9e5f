"""``-`` in place of one file: standard input, and for a LUT that is made standard output."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import lutbench as lb

WORDS = "ACEScct, ACEScg to BT.1886, BT.709; size=9"
ENDS = "--source-curve ACEScct --source-gamut ACEScg --target-curve BT.1886 --target-gamut BT.709"
RECIPE = b"""
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "day"
size = 9
"""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("streams") / "day.cube"
    lb.build(WORDS).save(path)
    return path


def run(line: str, given: bytes = b"", **more: object) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "lutbench", *line.split()]
    return subprocess.run(command, input=given, capture_output=True, timeout=120, **more)  # type: ignore[call-overload,no-any-return]


def lut_of(found: subprocess.CompletedProcess[bytes]) -> lb.Lut3D:
    import io

    assert found.returncode == 0, found.stderr
    lut = lb.open_lut(io.BytesIO(found.stdout))
    assert isinstance(lut, lb.Lut3D)
    return lut


@pytest.mark.parametrize(
    "line",
    [
        "inspect - --json",
        "identify - --json",
        "levels --curve ACEScct --lut - --json",
        "compare - DAY --json",
        "compare DAY - --json",
        "rework resample - 5 -o OUT.cube --json",
        "convert - OUT.clf --json",
        "split - -o OUT --json",
    ],
)
def test_a_lut_from_standard_input(line: str, day: Path, tmp_path: Path) -> None:
    line = line.replace("DAY", str(day)).replace("OUT", str(tmp_path / "out"))
    found = run(line, day.read_bytes())
    assert found.returncode == 0, found.stderr
    assert json.loads(found.stdout)["schema"] >= 1


def test_a_lut_to_standard_output(day: Path) -> None:
    """The LUT and nothing else goes there; what was done is said on standard error."""
    lut = lb.open_lut(day)
    assert isinstance(lut, lb.Lut3D)
    built = run(f"build {ENDS} --size 9 -o -")
    np.testing.assert_allclose(lut_of(built).table, lut.table, atol=1e-6)
    assert built.stderr
    for line in ("convert - -", "rework range - --source-range full -o -"):
        found = run(line, day.read_bytes())
        np.testing.assert_allclose(lut_of(found).table, lut.table, atol=2e-6)
        assert found.stderr
    assert lut_of(run("rework resample - 5 -o -", day.read_bytes())).size == 5
    assert lut_of(run("split - --keep gamut -o -", day.read_bytes())).size == 9


@pytest.mark.skipif(os.name != "posix", reason="a shell of POSIX")
def test_commands_in_a_pipe(day: Path) -> None:
    own = f"{sys.executable} -m lutbench"
    line = f"{own} convert {day} - | {own} rework resample - 5 -o - | {own} inspect - --json"
    found = subprocess.run(["sh", "-c", line], capture_output=True, timeout=120)
    assert json.loads(found.stdout)["size"] == 5


def test_a_recipe_from_standard_input(day: Path, tmp_path: Path) -> None:
    found = run(f"build - -o {tmp_path}", RECIPE)
    assert found.returncode == 0, found.stderr
    assert (tmp_path / "day.cube").is_file()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("convert - - --json", b"both go to standard output"),
        ("rework resample - 5 -o - --json", b"both go to standard output"),
        ("inspect - DAY", b"stands for one LUT"),
        ("build - -o -", b"a recipe's LUTs are files"),
    ],
)
def test_what_cannot_be(line: str, words: bytes, day: Path) -> None:
    found = run(line.replace("DAY", str(day)), RECIPE)
    assert (found.returncode, found.stdout) == (2, b"")
    assert words in found.stderr
    assert found.stderr.count(b"\n") == 1
