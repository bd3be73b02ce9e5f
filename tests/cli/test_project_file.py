"""The project file: found upwards, named in the output, behind what is nearer to a LUT."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from lutbench.cli.main import main
from lutbench.cli.options import trusted
from lutbench.formats.cube_write import write_cube
from lutbench.recipes.make import build
from lutbench.tables.lut import Lut3D

Printed = pytest.CaptureFixture[str]
PROJECT = """
title = "Salt Road"
definitions = ["house.toml"]
exposure_index = 800
filters = [0.6, 1.2]
[source]
curve = "House Log"
gamut = "BT.2020"
[target]
curve = "BT.1886"
gamut = "BT.709"
[zebra]
lowest = 55
"""
HOUSE = """
[curves."House Log"]
kind = "log"
base = 10.0
log_side_slope = 0.25
log_side_offset = 0.6
lin_side_slope = 1.0
lin_side_offset = 0.01
lin_side_break = 0.01
"""


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([*map(str, args)])
    return int(ended.value.code or 0)


@pytest.fixture
def shoot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "lutbench.toml").write_text(PROJECT, encoding="utf-8")
    (tmp_path / "house.toml").write_text(HOUSE, encoding="utf-8")
    (tmp_path / "day" / "luts").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "day" / "luts")
    return tmp_path


@pytest.mark.usefixtures("shoot")
def test_the_source_is_named_once(capsys: Printed) -> None:
    assert run("levels", "--json", "--over-exposure", 3) == 0
    told = capsys.readouterr()
    data = json.loads(told.out)
    assert data["curve"] == "House Log"
    assert data["zebra"]["minimum"] == 55
    assert data["filter_choice"]["weaker"]["parts"] == [0.6]
    assert "curve House Log, as ../../lutbench.toml says" in told.err
    assert run("build", "-o", "view.cube") == 0
    told = capsys.readouterr()
    assert "source House Log, BT.2020, as ../../lutbench.toml says" in told.err
    assert "target BT.1886, BT.709, as ../../lutbench.toml says" in told.err
    comments = Path("view.cube").read_text(encoding="utf-8")
    assert "source: curve House Log, gamut BT.2020" in comments


@pytest.mark.usefixtures("shoot")
def test_the_command_line_and_the_file_come_first(capsys: Printed) -> None:
    ends = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}
    write_cube(build("ACEScct", "BT.1886", size=9, **ends), "told.cube")
    write_cube(Lut3D(Lut3D.identity(9).table ** 0.5), "silent.cube")
    for file, curve, by in (
        ("told.cube", "ACEScct", "file"),
        ("silent.cube", "House Log", "project"),
    ):
        assert run("inspect", file, "--json") == 0
        found = json.loads(capsys.readouterr().out)
        assert (found["source"]["curve"], found["source"]["known_by"]) == (curve, by)
    assert run("levels", "silent.cube", "--json") == 0
    assert json.loads(capsys.readouterr().out)["curve"] == "House Log"
    assert run("levels", "told.cube", "--json") == 0
    assert json.loads(capsys.readouterr().out)["curve"] == "ACEScct"
    assert run("levels", "silent.cube", "--curve", "BT.709", "--json") == 0
    assert json.loads(capsys.readouterr().out)["curve"] == "BT.709"


def test_a_recipe_gives_the_same_bytes_inside_and_outside(shoot: Path) -> None:
    recipe = shoot / "day.toml"
    recipe.write_text(
        'source = { curve = "ACEScct", gamut = "ACES AP1" }\n'
        'target = { curve = "BT.1886", gamut = "BT.709" }\n[[lut]]\nname = "x"\nsize = 5\n',
        encoding="utf-8",
    )
    assert run("build", recipe, "-o", "a", "--json") == 0
    (shoot / "lutbench.toml").unlink()
    assert run("build", recipe, "-o", "b", "--json") == 0
    assert Path("a/x.cube").read_bytes() == Path("b/x.cube").read_bytes()


def test_a_wrong_key_is_one_line(shoot: Path, capsys: Printed) -> None:
    (shoot / "lutbench.toml").write_text("sauce = 3\n", encoding="utf-8")
    assert run("levels") == 2
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    assert "lutbench.toml" in line


@pytest.mark.usefixtures("shoot")
def test_a_missing_file_of_definitions_is_named_with_the_project(
    shoot: Path, capsys: Printed
) -> None:
    (shoot / "house.toml").unlink()
    assert run("levels") == 2
    printed = capsys.readouterr().err
    assert printed.count("\n") == 1
    assert "lutbench.toml" in printed
    assert "'house.toml'" in printed


def test_it_can_be_left_alone(monkeypatch: pytest.MonkeyPatch, capsys: Printed) -> None:
    monkeypatch.setenv("LUTBENCH_PROJECT", "no")
    assert run("levels") == 2
    assert "no curve is named" in capsys.readouterr().err


def test_somebody_else_s_file_is_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.getuid", lambda: 1200)
    assert [trusted(owner) for owner in (1200, 0, 1201)] == [True, True, False]
