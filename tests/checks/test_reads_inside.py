"""Recipes, suites and definitions read inside their own folder only, links followed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lutbench import files
from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D

RECIPE = """\
{0}
size = 3
source = {{ curve = "{1}", gamut = "BT.709" }}
target = {{ curve = "sRGB", gamut = "BT.709" }}
[[lut]]
name = "one"
"""
POWER = '[curves."Theirs"]\nkind = "power"\ngamma = 2.2\n'


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A stranger's folder beside one with secrets; the current folder is the stranger's."""
    secret, folder = tmp_path / "secret", tmp_path / "own"
    secret.mkdir()
    folder.mkdir()
    write_cube(Lut3D.identity(3), secret / "day.cube")
    (secret / "defs.toml").write_text(POWER)
    (secret / "curve.csv").write_text("light,signal\n0,0\n0.5,0.7\n1,1\n")
    (secret / "values.csv").write_text("r,g,b,r_out,g_out,b_out\n0,0,0,0,0,0\n")
    (secret / "still.png").write_bytes(b"no still")
    write_cube(Lut3D.identity(3), folder / "mine.cube")
    (folder / "link.cube").symlink_to(secret / "day.cube")
    (folder / "link").symlink_to(secret)
    (folder / "a#b.cube").symlink_to(secret / "day.cube")
    for name in ("a#", "a;"):
        (folder / name).mkdir()
    monkeypatch.chdir(folder)
    return folder


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out + err


OUTSIDE = ["../secret/", "link/", str(Path("/tmp/..").resolve()) + "tmp/../SECRET/"]


@pytest.mark.parametrize("way", OUTSIDE)
def test_a_recipe_names_definitions_outside(
    way: str, own: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = way.replace("SECRET", str((own / "../secret").resolve())[1:]) + "defs.toml"
    text = RECIPE.format(f'definitions = "{name}"', "Theirs")
    (own / "day.toml").write_text(text)
    status, said = run(capsys, "build", "day.toml", "-o", "out")
    assert status == 2
    assert "outside the folder of the recipe" in said
    assert not (own / "out").exists()
    assert run(capsys, "build", "day.toml", "-o", "out", "--allow-outside")[0] == 0
    # Allowed for that command alone.
    assert run(capsys, "build", "day.toml", "-o", "out2")[0] == 2


def test_definitions_name_a_table_outside(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = '[curves."Measured"]\nkind = "table"\nfile = "../secret/curve.csv"\n'
    (own / "defs.toml").write_text(table)
    status, said = run(capsys, "list", "curves", "--definitions", "defs.toml")
    assert status == 2
    assert "outside the folder of the definitions" in said
    assert run(capsys, "list", "curves", "--definitions", "defs.toml", "--allow-outside")[0] == 0


@pytest.mark.parametrize("name", ["../secret/day.cube", "a#/../../secret/day.cube", "a#b.cube#x"])
def test_a_recipe_names_a_look_outside(
    name: str, own: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (own / "day.toml").write_text(RECIPE.format("", "BT.709") + f'look = {{ file = "{name}" }}\n')
    status, said = run(capsys, "build", "day.toml", "-o", "out")
    assert status == 2
    assert "outside the folder of the recipe" in said


CHECKS = {
    "a LUT": 'kind = "invariants"\nlut = "../secret/day.cube"',
    "a linked LUT": 'kind = "invariants"\nlut = "link.cube"',
    "a linked folder": 'kind = "invariants"\nlut = "link/day.cube"',
    "a reference": 'kind = "reference"\nlut = "mine.cube"\nexact = "../secret/day.cube"',
    "behind a folder with a sign": 'kind = "invariants"\nlut = "a#/../../secret/day.cube"',
    "behind a folder with a semicolon": 'kind = "invariants"\nlut = "a;/../../secret/day.cube"',
    "a linked LUT, with an id": 'kind = "invariants"\nlut = "link.cube#x"',
    "a linked LUT with a sign, with an id": 'kind = "invariants"\nlut = "a#b.cube#x"',
    "values": 'kind = "reference"\nlut = "mine.cube"\nvalues = "../secret/values.csv"',
    "a baseline": 'kind = "baseline"\nlut = "mine.cube"\nbaseline = "../secret/values.csv"',
    "a still": 'kind = "picture"\nlut = "mine.cube"\nstill = "../secret/still.png"\n'
    'stored = "s.png"',
    "a recipe": 'kind = "bytes"\nlut = "../secret/x.toml#a"\nfile = "mine.cube"',
    "a file": 'kind = "bytes"\nlut = "x.toml#one"\nfile = "../secret/day.cube"',
}


@pytest.mark.parametrize("case", CHECKS)
def test_a_suite_names_a_file_outside(
    case: str, own: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (own / "x.toml").write_text(RECIPE.format("", "BT.709"))
    (own / "suite.toml").write_text(f'[[check]]\nname = "one"\n{CHECKS[case]}\n')
    (own / "s.png").write_bytes(b"")
    status, said = run(capsys, "verify", "suite.toml")
    assert status == 1  # the check fails, and says why
    assert "outside the folder of the suite" in " ".join(said.split())
    said = run(capsys, "verify", "suite.toml", "--allow-outside")[1]
    assert "outside the folder" not in said


def test_checks_side_by_side_are_held_too(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check = '[[check]]\nname = "{0}"\nkind = "invariants"\nlut = "../secret/day.cube"\n'
    (own / "suite.toml").write_text(check.format("one") + check.format("two"))
    assert run(capsys, "verify", "suite.toml", "--jobs", "2")[0] == 1
    assert run(capsys, "verify", "suite.toml", "--jobs", "2", "--allow-outside")[0] == 0


def test_what_is_inside_is_read(own: Path) -> None:
    (own / "sub").mkdir()
    assert files.beside(own, "sub/../mine.cube").exists()
    assert np.all(files.beside(own, str(own / "mine.cube")).exists())
