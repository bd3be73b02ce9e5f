"""`lutbench levels` without --curve: what a LUT's comments tell, said to be from there."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import lutbench
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


def test_the_ranges_of_the_comments_hold_where_the_curve_is_named(
    tmp_path: Path, capsys: Printed
) -> None:
    """BT.1886 (exponent 2.4) and BT.709-6 (legal 10-bit black 64, white 940), by hand."""
    lut = build(
        "ACEScct", "BT.1886", source_gamut="ACES AP1", target_gamut="BT.709", size=65,
        source_range="legal", target_range="legal", tone="clip",
    )  # fmt: skip
    write_cube(lut, tmp_path / "legal.cube")
    for more in ((), ("--curve", "ACEScct")):
        assert run("--lut", tmp_path / "legal.cube", "--json", *more) == 0
        found = json.loads(capsys.readouterr().out)
        assert (found["source_range"], found["target_range"]) == ("legal", "legal")
        grey = next(each for each in found["levels"] if each["reflectance"] == 0.18)
        # Straight between nodes of 65, as in the box.
        assert grey["after_lut"]["percent"] == pytest.approx(100 * 0.18 ** (1 / 2.4), abs=1.0)
        from_python = lutbench.levels("ACEScct", tmp_path / "legal.cube").at(0.18)
        assert from_python.after_lut is not None
        assert from_python.after_lut.percent == pytest.approx(grey["after_lut"]["percent"])
    assert run("--lut", tmp_path / "legal.cube", "--curve", "ACEScct", "--source-range", "full",
               "--json") == 0  # fmt: skip
    assert json.loads(capsys.readouterr().out)["source_range"] == "full"


def test_a_table_in_code_values_has_no_levels(day: Path, tmp_path: Path, capsys: Printed) -> None:
    write_cube(Lut3D(np.asarray(lutbench.open_lut(day).table) * 1023), tmp_path / "codes.cube")
    assert run("--lut", tmp_path / "codes.cube", "--curve", "ACEScct") == 2
    assert "10-bit code values" in capsys.readouterr().err


def test_a_damaged_file_does_not_keep_the_others_of_its_folder_back(
    day: Path, capsys: Printed
) -> None:
    """The file is named with its fault, the others have their levels, and the status is 2."""
    rows = day.read_text().splitlines()
    (day.parent / "short.cube").write_text("\n".join(rows[:-5]) + "\n")
    assert run(day.parent) == 2
    printed = capsys.readouterr()
    assert "short.cube" in printed.err.splitlines()[-1]
    assert "5 are missing" in printed.out.replace("\n", " ")
    assert "day.cube" in printed.out
    assert run(day.parent, "--json") == 2
    found = {each["name"]: each for each in json.loads(capsys.readouterr().out)["luts"]}
    assert found["day.cube"]["levels"]
    assert "missing" in found["short.cube"]["note"]
