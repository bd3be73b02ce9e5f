"""`lutbench identify` as a user calls it: reports, tables, folders, faults."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import lutbench
from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three LUTs that differ in exposure, one with a look, one in a folder below, one broken."""
    place = tmp_path_factory.mktemp("luts")
    gamuts = {"source_gamut": "ACEScg", "target_gamut": "BT.709"}
    for name, stops in (("day", 0.0), ("day_up", 1.0), ("day_down", -1.0)):
        lut = lutbench.build("ACEScct", "BT.1886", **gamuts, size=17, exposure=stops)
        write_cube(lut, place / f"{name}.cube")
    table = lutbench.build("ACEScct", "BT.1886", **gamuts, size=17).table
    luma = (table @ np.array([0.2126, 0.7152, 0.0722]))[..., None]
    looked = np.clip(luma + 1.3 * (table - luma), 0, 1)
    write_cube(Lut3D(looked), place / "strong.cube")
    (place / "more").mkdir()
    write_cube(Lut3D.identity(5), place / "more" / "plain.cube")
    (place / "broken.cube").write_text("LUT_3D_SIZE 2\n0 0 0\n")
    return place


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(["identify", *args])
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


def test_sentences_come_first(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, str(folder / "day.cube"))
    assert status == 0
    assert out.startswith("Expects ACEScct and ACES AP1 in full range.")
    assert "Mid grey lands at 49 %" in " ".join(out.split())
    assert "confidence" in out
    assert max(len(line) for line in out.splitlines()) <= 100


def test_a_look_is_told_in_full(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, str(folder / "strong.cube"))
    assert status == 0
    assert "30 % more saturated" in " ".join(out.split())
    assert "1.300" in out
    assert "reds" in out


def test_many_get_a_line_each_and_their_groups(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, str(folder))
    # One file cannot be read: the others are told all the same.
    assert status == 2
    for name in ("day", "day_up", "day_down", "strong", "broken"):
        assert name in out
    assert "identity" in out
    assert "differ only in exposure" in " ".join(out.split())


def test_many_as_json(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line each, of the shape that one LUT has; groups in a file."""
    written = tmp_path / "groups.json"
    status, out, err = run(capsys, str(folder), "--json", "--groups", str(written))
    assert status == 2
    assert err == f"{written}: groups written\n"
    reports = [json.loads(line) for line in out.splitlines()]
    assert [Path(each["file"]).name for each in reports] == [
        *("broken.cube", "day.cube", "day_down.cube", "day_up.cube", "plain.cube", "strong.cube"),
    ]
    assert set(reports[0]) == {"schema", "file", "error"}
    _, alone, _ = run(capsys, str(folder / "day.cube"), "--json")
    assert json.loads(alone) == reports[1]
    assert out.splitlines()[1] == alone.rstrip("\n")
    groups = json.loads(written.read_text())["groups"]
    (exposure,) = [each for each in groups if each["differ_in"] == ["exposure"]]
    assert {Path(each).name for each in exposure["files"]} == {
        *("day.cube", "day_up.cube", "day_down.cube"),
    }


@pytest.mark.slow
def test_processes_say_what_one_says(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for more in ([], ["--json"]):
        alone = run(capsys, str(folder), *more, "--jobs", "1")
        assert run(capsys, str(folder), *more, "--jobs", "2") == alone


def test_what_is_known_is_pinned(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pins = ("--source-curve", "ACEScct", "--target-gamut", "BT.709", "--target-range", "full")
    status, out, _ = run(capsys, str(folder / "day.cube"), *pins, "--json")
    assert status == 0
    for each in json.loads(out)["candidates"]:
        assert each["source"]["curve"] == "ACEScct"
        # Where only the curve is converted, any gamut will do.
        assert each["target"]["gamut"] in ("BT.709", None)
        assert each["target"]["range"] == "full"


def test_the_tone_curve_is_written(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "tone.csv"
    status, _, err = run(capsys, str(folder / "day.cube"), "--tone-curve", str(out))
    assert status == 0
    assert "tone curve written" in err
    lines = out.read_text().splitlines()
    assert lines[1] == "light,signal"
    rows = np.array([[float(cell) for cell in line.split(",")] for line in lines[2:]])
    assert (np.diff(rows, axis=0) > 0).all()
    # BT.1886: a power of 2.4 (Recommendation ITU-R BT.1886), read between the rows.
    assert np.interp(0.18, *rows.T) == pytest.approx(0.18 ** (1 / 2.4), abs=2e-3)


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["LUT", "--source-curve", "ACESct"], "ACEScct"),
        (["LUT", "--target-gamut", "nowhere"], "--target-gamut"),
        (["nowhere.cube"], "nowhere.cube"),
        (["EMPTY"], "holds no LUT"),
        (["LUT", "LUT", "--tone-curve", "OUT"], "one file"),
        (["SAME", "--tone-curve", "OUT"], "no tone curve"),
        (["LUT", "--tone-curve", "KEPT"], "--force"),
    ],
)
def test_faults_are_one_line(
    args: list[str], told: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "kept.csv").write_text("mine")
    names = {
        "LUT": str(folder / "day.cube"),
        "SAME": str(folder / "more" / "plain.cube"),
        "EMPTY": str(tmp_path / "empty"),
        "OUT": str(tmp_path / "out.csv"),
        "KEPT": str(tmp_path / "kept.csv"),
    }
    status, out, err = run(capsys, *(names.get(each, each) for each in args))
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert told in err
    assert (tmp_path / "kept.csv").read_text() == "mine"
    assert not (tmp_path / "out.csv").exists()
