"""`lutbench levels` without --curve: what a LUT's comments tell, said to be from there."""

from __future__ import annotations

from pathlib import Path

import pytest

from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.recipes.make import build
from lutbench.tables.lut import Lut3D

Printed = pytest.CaptureFixture[str]


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["levels", *map(str, args)])
    return int(ended.value.code or 0)


@pytest.fixture
def day(tmp_path: Path) -> Path:
    lut = build("ACEScct", "BT.1886", source_gamut="ACES AP1", target_gamut="BT.709", size=9)
    write_cube(lut, tmp_path / "day.cube")
    return tmp_path / "day.cube"


def test_the_comments_name_the_curve(day: Path, capsys: Printed) -> None:
    assert run("--lut", day) == 0
    told = capsys.readouterr()
    assert run("--lut", day, "--curve", "ACEScct") == 0
    named = capsys.readouterr()
    assert told.out == named.out
    assert "curve ACEScct, as the comments of" in told.err
    assert "comments" not in named.err
    # S-2016-001: no light at 0.0729 of ACEScct, above 0.
    assert "Recorded: black (no light) is at 7.3 %" in told.out


def test_without_a_word_it_asks_for_the_curve(tmp_path: Path, capsys: Printed) -> None:
    write_cube(Lut3D.identity(5), tmp_path / "silent.cube")
    for args in ((), ("--lut", tmp_path / "silent.cube")):
        assert run(*args) == 2
        printed = capsys.readouterr().err
        assert printed.count("\n") == 1
        assert "--curve NAME" in printed
