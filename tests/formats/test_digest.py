"""A file says what its table was, and whether it is still so can be told."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import numpy as np
import pytest

from lutbench.checks.runner import run_check
from lutbench.checks.suite import read_suite
from lutbench.cli.main import main
from lutbench.formats.comments import written
from lutbench.formats.convert import save
from lutbench.formats.cube import read_cube
from lutbench.formats.cube_write import format_cube, write_cube
from lutbench.formats.registry import read_lut_file
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Matrix, Pipeline
from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D

RNG = np.random.default_rng(3)
CURVE = Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 7) ** 2.2)
LUTS: dict[str, Lut] = {
    "3D": Lut3D(RNG.random((5, 5, 5, 3)), title="Day", comments=("a comment",)),
    "float32": Lut3D(RNG.random((3, 3, 3, 3)).astype(np.float32)),
    "domain": Lut3D(RNG.random((3, 3, 3, 3)), domain=[[-0.1] * 3, [1.5] * 3]),
    "1D": CURVE,
    "shaper": ShaperLut3D(CURVE, Lut3D(RNG.random((3, 3, 3, 3)))),
}


@pytest.mark.parametrize("decimals", [4, 6, 12, None])
@pytest.mark.parametrize("name", LUTS)
def test_a_file_that_is_written_and_read_is_as_written(
    name: str, decimals: int | None, tmp_path: Path
) -> None:
    path = tmp_path / "a.cube"
    write_cube(LUTS[name], path, decimals=decimals)
    lut = read_cube(path)
    found = written(lut, lut.comments)
    assert found is not None
    assert found.same
    assert found.decimals == decimals
    # Written again under another name it says it once.
    write_cube(lut, tmp_path / "b.cube", decimals=decimals)
    assert (tmp_path / "b.cube").read_text().count("table sha256") == 1
    assert (tmp_path / "b.cube").read_bytes() == path.read_bytes()


def test_the_digest_is_that_of_the_lines(tmp_path: Path) -> None:
    """Size, domain and rows as they stand in the file, with SHA-256 (FIPS 180-4)."""
    path = tmp_path / "a.cube"
    write_cube(LUTS["3D"], path)
    lines = path.read_text().splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith("LUT_3D_SIZE"))
    text = lines[start] + "".join(f"{line}\n" for line in lines[start + 1 :])
    digest = hashlib.sha256(text.encode()).hexdigest()
    assert f"# table sha256: {digest} (6 decimals)" in lines


def changed(path: Path, change: str) -> None:
    """The file as somebody, or another program, leaves it."""
    text = path.read_text()
    head, rows = text.split("LUT_3D_SIZE 5\n")
    numbers = np.array([line.split() for line in rows.splitlines()], float)
    if change == "one digit":
        numbers[17, 1] += 1e-6
    elif change == "two rows":
        numbers[[3, 4]] = numbers[[4, 3]]
    elif change == "rounded":
        numbers = np.round(numbers, 4)
    digits = {"more digits": 9, "rounded": 4}.get(change, 6)
    body = "".join(" ".join(f"{x:.{digits}f}" for x in row) + "\n" for row in numbers)
    if change == "title":
        head = head.replace("Day", "Night")
    if change == "domain":
        head += "DOMAIN_MAX 2 2 2\n"
    if change == "layout":
        body = body.replace(" ", "\t").replace("\n", "\r\n")
    path.write_bytes(f"{head}LUT_3D_SIZE 5\n{body}".encode())


@pytest.mark.parametrize(
    ("change", "same"),
    [
        ("title", True),
        ("layout", True),
        ("more digits", True),
        ("one digit", False),
        ("two rows", False),
        ("domain", False),
        ("rounded", False),
    ],
)
def test_what_changes_a_table_is_told(
    change: str, same: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.cube"
    write_cube(LUTS["3D"], path)
    changed(path, change)
    with pytest.raises(SystemExit):
        main(["inspect", str(path), "--json"])
    said = json.loads(capsys.readouterr().out)["written"]
    assert said["as_written"] is same
    with pytest.raises(SystemExit):
        main(["inspect", str(path)])
    words = re.sub(r"\s+", " ", capsys.readouterr().out)
    assert ("the table is unchanged since it was written" in words) is same
    if change == "rounded":
        assert "it has 4 decimals instead of 6" in words
    suite = tmp_path / "suite.toml"
    suite.write_text('[[check]]\nname = "one"\nkind = "written"\nlut = "a.cube"\n')
    found = read_suite(suite)
    assert run_check(found.checks[0], found.context()).holds is same


def test_a_file_that_says_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.cube"
    path.write_bytes(format_cube(Lut3D.identity(3)))
    with pytest.raises(SystemExit):
        main(["inspect", str(path), "--json"])
    assert json.loads(capsys.readouterr().out)["written"] is None
    suite = tmp_path / "suite.toml"
    for lut, status in (("a.cube", "failed"), ("BT.709, BT.709 to sRGB, BT.709", "error")):
        suite.write_text(f'[[check]]\nname = "one"\nkind = "written"\nlut = "{lut}"\n')
        found = read_suite(suite)
        assert run_check(found.checks[0], found.context()).status == status


def test_the_recipe_can_be_demanded(tmp_path: Path) -> None:
    path = tmp_path / "a.cube"
    recipe = "ab" * 32
    write_cube(Lut3D.identity(3, title="x"), path)
    write_cube(
        Lut3D(Lut3D.identity(3).table, comments=(f"recipe sha256: {recipe}",)), path, force=True
    )
    suite = tmp_path / "suite.toml"
    for wanted, status in ((recipe, "passed"), ("cd" * 32, "failed")):
        suite.write_text(
            f'[[check]]\nname = "one"\nkind = "written"\nlut = "a.cube"\nrecipe = "{wanted}"\n'
        )
        found = read_suite(suite)
        assert run_check(found.checks[0], found.context()).status == status


CLF = {
    "3D": LUTS["3D"],
    "float32": LUTS["float32"],
    "1D": LUTS["1D"],
    "domain": LUTS["domain"],
    "shaper": LUTS["shaper"],
    "operators": Pipeline(
        (Matrix(((0.5, 0.2, 0.3), (0, 1, 0), (0.1, 0, 0.9))), Cdl((1.1, 1, 0.9), (0.01, 0, 0)))
    ),
}


@pytest.mark.parametrize("name", CLF)
def test_a_clf_says_what_its_steps_are(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.clf"
    save(CLF[name], path)
    read = read_lut_file(path)
    found = written(read.lut, read.comments)
    assert found is not None
    assert found.same
    suite = tmp_path / "suite.toml"
    suite.write_text('[[check]]\nname = "one"\nkind = "written"\nlut = "a.clf"\n')
    asked = read_suite(suite)
    assert run_check(asked.checks[0], asked.context()).holds
    if isinstance(read.lut, Lut):
        with pytest.raises(SystemExit):
            main(["inspect", str(path), "--json"])
        assert json.loads(capsys.readouterr().out)["written"]["as_written"]
    # The last digit of a number that stands in an Array, or that is an attribute of one.
    text = path.read_text()
    at = re.search(r"<Array[^>]*>[^<]*?\.\d*([1-8])(?=\s)", text, re.DOTALL)
    assert at is not None
    path.write_text(text[: at.start(1)] + str(int(at[1]) + 1) + text[at.end(1) :])
    assert run_check(asked.checks[0], asked.context()).holds is False


def test_a_clf_made_of_a_recipe_names_it(tmp_path: Path) -> None:
    lut = Lut3D(RNG.random((3, 3, 3, 3)), comments=("recipe sha256: " + "ab" * 32,))
    write_cube(lut, tmp_path / "a.cube")
    with pytest.raises(SystemExit) as end:
        main(["convert", str(tmp_path / "a.cube"), str(tmp_path / "a.clf")])
    assert not end.value.code
    suite = tmp_path / "suite.toml"
    for recipe, holds in (("ab" * 32, True), ("cd" * 32, False)):
        suite.write_text(
            f'[[check]]\nname = "one"\nkind = "written"\nlut = "a.clf"\nrecipe = "{recipe}"\n'
        )
        asked = read_suite(suite)
        assert run_check(asked.checks[0], asked.context()).holds is holds
