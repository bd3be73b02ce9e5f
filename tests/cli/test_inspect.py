"""``lutbench inspect`` as a user runs it: one LUT, many, a page, a sheet, exit status."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import lutbench
from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut1D, Lut3D


@pytest.fixture(scope="module")
def luts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A good LUT, a tinted one, one upside down, and a file that is none, in two folders."""
    folder = tmp_path_factory.mktemp("luts")
    day = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=9)
    write_cube(day, folder / "day.cube")
    write_cube(Lut3D(np.asarray(day.table) * [1.0, 0.97, 1.0], title="T"), folder / "tinted.cube")
    (folder / "old").mkdir()
    write_cube(Lut1D(np.linspace([1.0] * 3, [0.0] * 3, 65)), folder / "old" / "falling.cube")
    (folder / "notes.txt").write_text("no LUT, and not looked at")
    return folder


NAMED = ("--source-curve", "ACEScct", "--source-gamut", "ACEScg")
"""With its source named a LUT need not be identified, which takes longer than the rest."""

Printed = pytest.CaptureFixture[str]


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["inspect", *map(str, args)])
    return int(ended.value.code or 0)


def reports(capsys: Printed) -> list[dict[str, Any]]:
    """The reports of many LUTs: a line each."""
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_the_report_of_one_lut(luts: Path, capsys: Printed) -> None:
    assert run(luts / "tinted.cube", *NAMED) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = lutbench.inspect(luts / "tinted.cube", source_curve="ACEScct", source_gamut="ACEScg")
    text = flat(out)
    assert flat(found.verdict) in text
    # Every finding with what it is, what one sees and what to do.
    assert "tint" in [each.code for each in found.findings]
    for each in found.findings:
        assert flat(f"{each.severity} {each.code}: {each.message}") in text
        assert flat(f"What you see: {each.seen}.") in text
        assert flat(f"Advice: {each.advice}.") in text
    # Academy S-2016-001: mid grey at 0.4136 of ACEScct, code 423 of 1023.
    row = next(line for line in out.splitlines() if "18 %" in line)
    assert row.split("%")[1].split()[:3] == ["0.0", "41.4", "423"]
    assert "8 bit" in text
    assert "10 bit" in text
    assert "A monitoring LUT is for viewing" in text
    assert max(map(len, out.splitlines())) <= 100


def test_no_level_is_cut_off_in_a_narrow_terminal(
    luts: Path, capsys: Printed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    assert run(luts / "day.cube", *NAMED) == 0
    table = capsys.readouterr().out.partition("\nLevels\n")[2].partition("\nContrast")[0]
    assert "…" not in table
    grey = next(line for line in table.splitlines() if line.startswith("mid grey"))
    assert grey.removeprefix("mid grey").split()[:3] == ["0.0", "41.4", "423"]


def test_the_report_without_a_source_has_tenths(tmp_path: Path, capsys: Printed) -> None:
    """A LUT that no conversion explains: a wave on each channel."""
    nodes = Lut3D.identity(17).table
    wave = nodes + 0.04 * np.sin(4 * np.pi * nodes) * (1 - nodes[..., ::-1])
    write_cube(Lut3D(wave), tmp_path / "wave.cube")
    assert run(tmp_path / "wave.cube") == 0
    out = capsys.readouterr().out
    assert [f"{tenth} %" for tenth in range(0, 101, 10)] == re.findall(r"^(\d+ %)", out, re.M)
    assert "stops" not in out.split("Levels")[1].splitlines()[1]


def test_json_is_the_result_of_python(luts: Path, capsys: Printed) -> None:
    assert run(luts / "day.cube", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    told = json.loads(json.dumps(lutbench.inspect(luts / "day.cube").to_data()))
    assert data == told


def test_a_folder_gets_a_line_a_lut(luts: Path, capsys: Printed) -> None:
    assert run(luts) == 0
    out = capsys.readouterr().out
    lines = [line for line in out.splitlines() if ".cube" in line]
    assert [line.split()[0] for line in lines] == ["day.cube", "falling.cube", "tinted.cube"]
    assert "error non_monotonic" in lines[1]
    assert "warning tint" in lines[2]
    assert "half way between" in flat(out)  # what the brackets around mid grey mean
    assert run(luts, "--source-curve", "ACEScct") == 0
    out = capsys.readouterr().out
    assert "half way between" not in flat(out)
    assert re.search(r"day\.cube +combined +9 +41 → \d+ %", out)


def test_one_shape_for_one_and_for_many(luts: Path, capsys: Printed) -> None:
    assert run(luts, "--json") == 0
    first = reports(capsys)[0]
    assert run(luts / "day.cube", "--json") == 0
    assert reports(capsys) == [first]


@pytest.mark.parametrize("more", [[], ["--sort", "worst", "--json"]])
def test_processes_say_what_one_says(more: list[str], luts: Path, capsys: Printed) -> None:
    assert run(luts, *more, "--jobs", "1") == 0
    alone = capsys.readouterr()
    assert run(luts, *more, "--jobs", "2") == 0
    assert capsys.readouterr() == alone


@pytest.mark.parametrize(
    ("order", "first"), [("worst", "falling.cube"), ("kind", "day.cube"), ("grey", None)]
)
def test_the_order_of_many(order: str, first: str | None, luts: Path, capsys: Printed) -> None:
    assert run(luts, "--sort", order, "--json") == 0
    found = reports(capsys)
    if first is not None:
        assert Path(found[0]["file"]).name == first
    keys = {
        "worst": lambda each: -["info", "warning", "error"].index(each["worst"] or "info"),
        "kind": lambda each: each["kind"],
        "grey": lambda each: each["neutral_axis"]["mid_grey"]["out"],
    }
    values = [keys[order](each) for each in found]
    assert len(values) == 3
    assert values == sorted(values)


def test_a_file_that_cannot_be_read_is_listed_with_the_others(
    luts: Path, tmp_path: Path, capsys: Printed
) -> None:
    (tmp_path / "broken.cube").write_text("LUT_3D_SIZE 2\n0 0 0\n")
    assert run(luts / "day.cube", tmp_path / "broken.cube") == 2
    out, err = capsys.readouterr()
    assert err == ""
    assert "day.cube" in out
    assert "broken.cube" in out
    assert run(luts / "day.cube", tmp_path / "broken.cube", "--json") == 2
    found = {Path(each["file"]).name: each for each in reports(capsys)}
    assert set(found) == {"day.cube", "broken.cube"}
    broken = found["broken.cube"]
    assert set(broken) == {"schema", "file", "error"}
    assert broken["file"] == str(tmp_path / "broken.cube")
    assert "broken.cube" in broken["error"]
    # Alone it is an error of one line.
    assert run(tmp_path / "broken.cube") == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize(
    ("name", "bad", "status"),
    [
        ("tinted.cube", "error", 0),
        ("tinted.cube", "warning", 1),
        ("old/falling.cube", "error", 1),
        ("day.cube", "warning", 0),
    ],
)
def test_findings_as_a_check(name: str, bad: str, status: int, luts: Path) -> None:
    assert run(luts / name, "--fail-on", bad, *NAMED) == status


def test_another_limit(luts: Path, capsys: Printed) -> None:
    """The tint of the LUT is 3 % of white, 31 codes."""
    assert run(luts / "tinted.cube", "--limit", "tint=40", "--fail-on", "warning", *NAMED) == 0
    assert run(luts / "tinted.cube", "--limit", "tint=20", "--fail-on", "warning", *NAMED) == 1
    capsys.readouterr()
    for wrong in ("tint", "tint=red", "hint=2", "tint=inf", "tint=1e12", "folds_in_black=1"):
        assert run(luts / "tinted.cube", "--limit", wrong) == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_a_page_and_a_sheet(luts: Path, tmp_path: Path, capsys: Printed) -> None:
    page, sheet = tmp_path / "day.html", tmp_path / "sheet.png"
    assert run(luts / "day.cube", "--page", page, "--source-curve", "ACEScct") == 0
    assert capsys.readouterr().err == f"{page}: page written\n"
    assert "ACEScct" in page.read_text("utf-8")
    assert run(luts, "--sheet", sheet, "--source-curve", "ACEScct") == 0
    assert capsys.readouterr().err == f"{sheet}: contact sheet written\n"
    with Image.open(sheet) as first:
        size = first.size
    # A still of one's own, half as high: the sheet is lower.
    Image.fromarray(np.full((40, 480, 3), 90, np.uint8)).save(tmp_path / "own.png")
    assert run(luts, "--sheet", sheet, "--still", tmp_path / "own.png", "--force") == 0
    with Image.open(sheet) as second:
        assert second.size[1] < size[1]


def test_what_cannot_be_asked_for(luts: Path, tmp_path: Path, capsys: Printed) -> None:
    (tmp_path / "none").mkdir()
    for args, words in (
        ((luts, "--page", tmp_path / "a.html"), "a page shows one LUT"),
        ((tmp_path / "none",), "holds no LUT; accepted: files that end in .cube"),
        ((luts / "day.cube", "--source-curve", "ACESct"), "ACEScct"),
        ((luts / "day.cube", "--target-gamut", "BT.7O9"), "BT.709"),
        ((tmp_path / "none" / "a.cube",), "cannot read"),
    ):
        assert run(*args) == 2
        err = capsys.readouterr().err
        assert words in err
        assert err.count("\n") == 1


def test_a_sheet_of_nothing_is_refused(tmp_path: Path, capsys: Printed) -> None:
    for name in ("a.cube", "b.cube"):
        (tmp_path / name).write_text("LUT_3D_SIZE 2\n")
    assert run(tmp_path, "--sheet", tmp_path / "s.png") == 2
    assert "there is no LUT to show" in capsys.readouterr().err
    assert not (tmp_path / "s.png").exists()


def test_a_set_sheet_of_another_kind_is_refused_before_the_work(
    luts: Path, capsys: Printed
) -> None:
    assert run(luts, "--set-sheet", luts / "sheet.pdf") == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "is not a set sheet" in told.err


@pytest.mark.slow
def test_a_set_sheet_is_written_as_a_page_and_as_a_picture(luts: Path, tmp_path: Path) -> None:
    page, picture = tmp_path / "set.html", tmp_path / "set.png"
    assert run(luts, "--set-sheet", page, "--set-sheet", picture, "--quiet") in (0, 1)
    assert page.is_file()
    assert picture.is_file()


def test_of_an_unusable_table_a_line_gives_no_levels(tmp_path: Path, capsys: Printed) -> None:
    codes = Lut3D.identity(9).table * 1023
    for name in ("a.cube", "b.cube"):
        write_cube(Lut3D(codes), tmp_path / name)
    run(tmp_path)
    printed = capsys.readouterr().out
    assert "integer_values" in printed
    assert "%" not in printed.replace("grey in", "")
