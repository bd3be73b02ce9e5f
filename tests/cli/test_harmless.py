"""What a title, a comment or a name holds steers no terminal, no page and no spreadsheet.

The characters: C0 and C1 controls (ECMA-48), and the marks of direction of the Unicode
Bidirectional Algorithm (UAX #9), which can make a name read as another.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
from pathlib import Path

import numpy as np
import pytest

from lutbench.cli.main import main
from lutbench.formats.cube_write import format_cube, write_cube
from lutbench.given import csv_text_cell
from lutbench.media.still.still import Still, write_still
from lutbench.tables.lut import Lut3D

STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
NAME = "=a\u202eb\x1b[31m\u2066\x07.cube"
TITLE = '"=cmd|x\u202eD\x1b]0;o\x07\u2067"'
# In a suite, as TOML writes them.
ESCAPED = "".join(c if " " <= c < "\x7f" else f"\\u{ord(c):04x}" for c in NAME)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("hostile")
    data = format_cube(Lut3D(Lut3D.identity(5).table ** 1.3, title="Day"))
    data = data.replace(b'"Day"', TITLE.encode()).replace(b"\n", "\n# \u202e\x1b[2J\n".encode(), 1)
    (place / NAME).write_bytes(data)
    write_cube(Lut3D.identity(5, title="Plain"), place / "plain.cube")
    picture = Still(np.zeros((8, 8, 3), np.uint8), ("R", "G", "B"), "8")
    write_still(picture, place / "s.png")
    (place / "suite.toml").write_text(
        f'[[check]]\nname = "one"\nkind = "invariants"\nlut = "{ESCAPED}"\n'
        f'[[check]]\nname = "two"\nkind = "invariants"\nlut = "no{ESCAPED}"\n'
    )
    (place / "record.toml").write_text(
        "".join(
            f'[[check]]\nname = "{kept}"\nkind = "baseline"\nlut = "{ESCAPED}"\n'
            f'baseline = "out.{kept}"\n'
            for kept in ("csv", "cube")
        )
    )
    return place


CALLS = [
    "inspect LUT",
    "inspect LUT --json",
    "inspect LUT plain.cube",
    "inspect LUT --page out.html",
    "identify LUT",
    "identify LUT --json",
    "identify LUT plain.cube",
    "compare LUT plain.cube",
    "compare LUT plain.cube --json --page out.html",
    "levels --curve BT.709 --lut LUT --card out.html",
    "levels --curve BT.709 --lut LUT --csv",
    "levels --curve BT.709 --lut LUT --json",
    "sheet LUT s.png out.png",
    "apply LUT s.png out.png",
    "convert LUT out.clf",
    "convert LUT out.cube --json",
    "rework resample LUT 3 -o out.cube",
    "verify suite.toml --junit out.xml -v",
    "verify suite.toml --json",
    "verify record.toml --record",
    "inspect noLUT",
]


@pytest.mark.parametrize("coloured", [False, True])
@pytest.mark.parametrize("call", CALLS)
def test_nothing_steers(
    call: str,
    coloured: bool,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if coloured and any(word in call for word in ("--json", "--csv", "out.", "s.png")):
        return  # no colours there: seen already
    monkeypatch.chdir(folder)
    if coloured:
        monkeypatch.setenv("FORCE_COLOR", "1")
        monkeypatch.setenv("COLUMNS", "100")
    for old in folder.glob("out.*"):
        old.unlink()
    with pytest.raises(SystemExit):
        main([word.replace("LUT", NAME) if "LUT" in word else word for word in call.split()])
    out, err = capsys.readouterr()
    # Colours are the report's own, and so is what draws and clears a line of progress.
    plain = re.sub(r"\x1b\[([0-9;]*m|\?25[lh]|1A|2K)|\r", "", out) if coloured else out
    assert not STEERS.search(plain), ascii(plain)
    assert not STEERS.search(err), ascii(err)
    if "--json" in call and "convert" not in call:
        assert NAME in _texts(json.loads(out))  # the same name, for a program
    for written in folder.glob("out.*"):
        if written.suffix != ".png":
            assert not STEERS.search(written.read_text("utf-8")), written.name


def _texts(data: object) -> str:
    """All texts of a report, one after the other."""
    if isinstance(data, dict):
        return "".join(map(_texts, data.values()))
    return "".join(map(_texts, data)) if isinstance(data, list) else str(data)


def test_no_cell_of_a_csv_is_a_formula(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    with pytest.raises(SystemExit):
        main(["levels", "--curve", "ACEScct", "--lut", NAME, "--csv"])
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    for row in rows:
        for cell in row:
            number = re.fullmatch(r"-?\d+(\.\d+)?(e[+-]\d+)?", cell)
            assert number or not cell.startswith(("=", "+", "-", "@")), cell
    for text in ("=1+1", "+1", "-1", "@x", "=cmd|' /C calc'!A0"):
        assert csv_text_cell(text) == f"'{text}"
        # Where cells are separated by semicolons or tabs, as in much of Europe.
        for before in ("a;", 'a";', "a\t", "a\n"):
            assert csv_text_cell(before + text) == f"{before}'{text}"


def test_a_name_that_is_no_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file's name is bytes (POSIX), which need not be UTF-8."""
    name = os.fsdecode(os.fsencode(tmp_path) + b"/a\xff\xfe.cube")
    write_cube(Lut3D.identity(5, title="Plain"), name)
    page, sheet, bench = (str(tmp_path / each) for each in ("p.html", "s.html", "b.html"))
    for args in (
        ["inspect", name, "--page", page],
        ["inspect", name, "--set-sheet", sheet],
        ["inspect", name, "--json"],
        ["bench", name, "-o", bench],
    ):
        with pytest.raises(SystemExit) as end:
            main(args)
        assert end.value.code == 0, capsys.readouterr().err
        out = capsys.readouterr().out
        assert args[-1] != "--json" or json.loads(out)["file"] == name
    for written in (page, sheet, bench):
        assert "a\ufffd\ufffd.cube" in Path(written).read_text("utf-8")
