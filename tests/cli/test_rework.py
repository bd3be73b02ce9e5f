"""`lutbench rework`, `chart` and `capture` as a user runs them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from lutbench import open_lut
from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.media.still.still import apply_to_still, read_still, write_still
from lutbench.model.grade import Cdl
from lutbench.tables.lut import Lut1D, Lut3D
from lutbench.tables.nodes import sample

Printed = pytest.CaptureFixture[str]
LOOK = Cdl((1.0, 0.95, 0.9), (0.02, 0.02, 0.03), (1.1, 1.0, 1.0), 0.9, clamp=False)
POINTS = np.random.default_rng(0).random((500, 3))


@pytest.fixture
def look(tmp_path: Path) -> Path:
    path = tmp_path / "look.cube"
    write_cube(sample(LOOK, 17), path)
    return path


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(each) for each in args])
    return int(ended.value.code or 0)


def report(printed: Printed) -> dict[str, object]:
    captured = printed.readouterr()
    assert captured.err == ""
    data = json.loads(captured.out)
    assert data["schema"] == 1
    return dict(data)


def test_chain_and_invert_come_back(look: Path, tmp_path: Path, capsys: Printed) -> None:
    back, both = tmp_path / "back.cube", tmp_path / "both.cube"
    assert run("rework", "invert", look, "-o", back, "--size", 33, "--json") == 0
    data = report(capsys)
    assert data["bijective"] is True
    assert data["collapsed_share"] == 0
    assert {each["code"] for each in data["changes"]} >= {"round_trip", "unreached"}  # type: ignore[attr-defined]
    assert run("rework", "chain", look, back, "-o", both) == 0
    assert "2 steps combined into one LUT" in " ".join(capsys.readouterr().out.split())
    assert np.abs(open_lut(both).apply(POINTS) - POINTS).mean() < 1 / 1023


def test_every_other_command_writes_what_it_says(
    look: Path, tmp_path: Path, capsys: Printed
) -> None:
    out = tmp_path / "out.cube"
    expected = np.asarray(open_lut(look).apply(POINTS))

    def made(*args: object) -> np.ndarray:
        assert run("rework", *args, "-o", out, "--force") == 0
        assert capsys.readouterr().err == ""
        return np.asarray(open_lut(out).apply(POINTS))

    tolerance = 1e-6  # six decimals in the file, and those of the file it came from
    assert np.abs(made("resample", look, 33) - expected).max() < 2 / 1023
    legal = made("range", look, "--target-range", "legal")
    assert np.abs(legal - (64 + 876 * expected) / 1023).max() < tolerance
    wide = made("range", look, "--domain", -0.5, 1.5, "--size", 33)
    assert np.abs(wide - expected).max() < 1e-5
    assert np.abs(made("strength", look, 0) - POINTS).max() < tolerance
    assert np.abs(made("blend", look, look, 0.5) - expected).max() < tolerance
    made("neutral", look, "--size", 257)
    assert isinstance(open_lut(out), Lut1D)
    made("repair", look, "--only", "tint")
    grey = np.full((5, 3), np.linspace(0, 1, 5)[:, None])
    assert np.ptp(np.asarray(open_lut(out).apply(grey)), axis=1).max() < 1e-5


def test_names_and_pipelines_are_luts_too(tmp_path: Path, look: Path, capsys: Printed) -> None:
    out = tmp_path / "out.cube"
    base = "ACEScct, ACEScg to BT.1886, BT.709; tone=shoulder"
    assert run("rework", "chain", base, look, "-o", out, "--size", 17, "--title", "both") == 0
    lut = open_lut(out)
    assert isinstance(lut, Lut3D)
    assert (lut.size, lut.title) == (17, "both")
    assert capsys.readouterr().err == ""


def test_rework_alone_prints_its_help(capsys: Printed) -> None:
    assert run("rework") == 0
    assert "invert" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("invert", "{look}", "-o", "{look}"), "--force"),
        (("invert", "none.cube", "-o", "{out}"), "none.cube"),
        (("resample", "{look}", "300", "-o", "{out}"), "2 to 256"),
        (("range", "{look}", "--domain", "1", "0", "-o", "{out}"), "minimum under maximum"),
        (("strength", "{look}", "9", "-o", "{out}"), "-1 to 3"),
        (("invert", "{look}", "-o", "out.xyz"), ".xyz"),
        (("polish", "{look}"), "polish"),
    ],
)
def test_one_line_and_status_2(
    args: tuple[str, ...], words: str, look: Path, tmp_path: Path, capsys: Printed
) -> None:
    places = {"look": str(look), "out": str(tmp_path / "out.cube")}
    assert run("rework", *(each.format(**places) for each in args)) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert not (tmp_path / "out.cube").exists()


def test_chart_through_a_box(tmp_path: Path, capsys: Printed) -> None:
    chart, returned, out = (tmp_path / name for name in ("c.png", "r.png", "box.cube"))
    assert run("chart", chart, "--size", 9, "--frame", "640x400", "--json") == 0
    drawn = report(capsys)
    assert drawn["frame"] == [640, 400]
    write_still(apply_to_still(LOOK, read_still(chart)), returned, depth="8")
    assert run("capture", returned, "-o", out, "--size", 17, "--json") == 0
    data = report(capsys)
    assert data["reading"]["size"] == 9  # type: ignore[index]
    assert data["fit"]["held_out_code_10bit"]["mean"] < 4  # type: ignore[index]
    truth = np.clip(LOOK.apply(POINTS), 0, 1)
    assert np.abs(open_lut(out).apply(POINTS) - truth).mean() < 4 / 1023
    assert run("capture", returned, "-o", out, "--force") == 0
    printed = capsys.readouterr().out
    assert "held out" in printed
    assert max(map(len, printed.splitlines())) <= 100


def test_chart_and_capture_refuse(tmp_path: Path, look: Path, capsys: Printed) -> None:
    mirrored = tmp_path / "m.png"
    assert run("chart", tmp_path / "c.png", "--size", 9, "--frame", "640x400") == 0
    still = read_still(tmp_path / "c.png")
    still.pixels[:] = still.pixels[:, ::-1].copy()
    write_still(still, mirrored)
    capsys.readouterr()
    for args, words in (
        (("capture", mirrored, "-o", tmp_path / "x.cube"), "mirrored left to right"),
        (("capture", look, "-o", tmp_path / "x.cube"), "is not a suffix of stills"),
        # Refused before the work: the picture, which is no chart, is not even looked at.
        (("capture", look, "-o", tmp_path / "none" / "x.cube"), "there is no such folder"),
        (("chart", tmp_path / "c.jpg"), "16 bits"),
        (("chart", tmp_path / "d.png", "--frame", "wide"), "WIDTHxHEIGHT"),
        (("chart", tmp_path / "d.png", "--size", 99), "5 to 33"),
        (("chart", tmp_path / "c.png"), "--force"),
    ):
        assert run(*args) == 2
        captured = capsys.readouterr()
        assert words in captured.err
        assert captured.err.count("\n") == 1
    assert not (tmp_path / "x.cube").exists()
