"""``lutbench compare``: sides, limits, exit status, page."""

from __future__ import annotations

import json
from itertools import takewhile
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

import lutbench
from lutbench.cli.main import group
from lutbench.errors import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D

QUICK = "ACEScct, ACEScg to BT.1886, BT.709"

RECIPE = """
title = "Salt Road"
size = 9

[source]
curve = "ACEScct"
gamut = "ACEScg"

[target]
curve = "BT.1886"
gamut = "BT.709"

[[lut]]
name = "monitor"

[[lut]]
name = "brighter"
exposure = 1.0
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "day.toml").write_text(RECIPE)
    lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=9)
    write_cube(lut, "monitor.cube")
    write_cube(Lut3D(np.asarray(lut.table) + 0.01), "lifted.cube")
    return tmp_path


def run(*args: str) -> Result:
    result = CliRunner().invoke(group, ["compare", *args], standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result


def report(*args: str) -> dict:
    return json.loads(run(*args, "--json").stdout)


def test_a_reason_that_is_folded_keeps_its_indent(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lutbench.cli.terminal.piped_width", lambda: 30)
    out = run("monitor.cube", "lifted.cube", "--worst", "0").stdout
    after = out.split("A simple reason?\n")[1].splitlines()
    reason = list(takewhile(lambda line: line.startswith("  "), after))
    assert len(reason) > 1
    assert "output" in " ".join(reason)


def test_report_of_files(folder: Path) -> None:
    data = report("monitor.cube", "lifted.cube")
    assert data["schema"] == 1
    assert {"mean", "p95", "p99", "max"} <= set(data["delta_e_2000"])
    assert data["code_10bit"]["mean"] == pytest.approx(10.23, abs=0.01)  # 0.01·1023, six decimals
    assert data["explanation"][0]["code"] == "output_offset"
    assert len(data["worst"]) == 8


@pytest.mark.parametrize("side", ["day.toml#monitor", f"{QUICK}; size=9", "day.toml#MONITOR"])
def test_other_sides_that_are_the_same_lut(folder: Path, side: str) -> None:
    data = report("monitor.cube", side)
    # The file rounds to six decimals.
    assert data["code_10bit"]["max"] < 1023 * 0.6e-6
    assert data["assumed"] == []


def test_exact_sides(folder: Path) -> None:
    for side in (QUICK, "day.toml#monitor; exact"):
        data = report("monitor.cube", side)
        assert data["sets"]["nodes of 9"]["code_10bit"]["max"] < 1023 * 0.6e-6
        assert data["sets"]["random"]["code_10bit"]["max"] > 10


def test_options_of_a_pipeline(folder: Path) -> None:
    data = report("day.toml#monitor", "day.toml#brighter")
    assert data["explanation"][0]["code"] in ("exposure", "output_gain")
    same = report("day.toml#brighter", f"{QUICK}; exposure=1; size=9")
    assert same["delta_e_2000"]["max"] < 1e-9


@pytest.mark.parametrize(
    ("limit", "status"),
    [
        (("--limit-delta-e", "10"), 0),
        (("--limit-delta-e", "0.1"), 1),
        (("--limit-delta-e-p95", "0.1"), 1),
        (("--limit-delta-e-p99", "0.1"), 1),
        (("--limit-delta-e-mean", "0.1"), 1),
        (("--limit-delta-e-itp", "0.1"), 1),
        (("--limit-codes", "10.5"), 0),
        (("--limit-codes", "10"), 1),
        (("--limit-codes", "10.5", "--bits", "12"), 1),
        (("--limit-delta-e", "10", "--limit-codes", "1"), 1),
    ],
)
def test_limits(folder: Path, limit: tuple[str, ...], status: int) -> None:
    assert run("monitor.cube", "lifted.cube", *limit).return_value == status


@pytest.mark.parametrize("value", ["nan", "inf", "-1", "much"])
def test_limits_that_check_nothing(folder: Path, value: str) -> None:
    with pytest.raises(Exception, match="checks nothing"):
        run("monitor.cube", "lifted.cube", f"--limit-delta-e={value}")


def test_named_ends(folder: Path) -> None:
    ends = ["--source-curve", "ACEScct", "--source-gamut", "ACEScg", "--target-curve", "ST 2084"]
    data = report("monitor.cube", "lifted.cube", *ends, "--target-gamut", "BT.2020")
    assert data["measure"] == "delta_e_itp"
    assert data["assumed"] == []


def test_terminal_text_fits(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = run("monitor.cube", "lifted.cube", "--limit-codes", "1").stdout
    assert "an offset of the output" in text
    assert "FAILS" in text
    assert max(map(len, text.splitlines())) <= 100


def test_no_figure_is_cut_short_on_a_narrow_terminal(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lutbench.cli.terminal.piped_width", lambda: 60)
    text = run("monitor.cube", QUICK).stdout
    assert "…" not in text
    assert max(map(len, text.splitlines())) <= 60


def test_page(folder: Path) -> None:
    run("monitor.cube", "lifted.cube", "--page", "difference.html")
    page = Path("difference.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 7  # five maps and their scale, the neutral axis
    assert "An offset of the output" in page
    assert "light skin" in page
    with pytest.raises(LutbenchError, match="exists"):
        run("monitor.cube", "lifted.cube", "--page", "difference.html")
    with pytest.raises(LutbenchError, match=r"\.html"):
        run("monitor.cube", "lifted.cube", "--page", "difference.pdf")


def test_page_escapes_names(folder: Path) -> None:
    name = "<script>alert(1)<!--.cube"
    Path(name).write_bytes(Path("monitor.cube").read_bytes())
    run(name, "lifted.cube", "--page", "difference.html")
    assert "<script" not in Path("difference.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("side", "message"),
    [
        ("missing.cube", "cannot read"),
        ("day.toml", "makes 2 LUTs"),
        ("day.toml#monitr", "monitor"),
        ("day.toml#monitor; rough", "exact"),
        ("ACEScct, ACEScg to BT.1886", "target gamut"),
        ("ACEScct, ACEScg to BT.1886, BT.709; exposure=much", "number"),
        ("ACEScct, ACEScg to BT.1886, BT.709; brightness=1", "option"),
        ("ACESct, ACEScg to BT.1886, BT.709", "ACEScct"),
        ("a, b, c to d, e", "pipeline"),
    ],
)
def test_sides_that_cannot_be_used(folder: Path, side: str, message: str) -> None:
    with pytest.raises(LutbenchError, match=message):
        run("monitor.cube", side)


def test_the_chart_is_encoded_as_the_comments_of_a_lut_say(folder: Path) -> None:
    lut = lutbench.build("Cineon", "BT.709", source_gamut="BT.2020", target_gamut="BT.709", size=9)
    write_cube(lut, "film.cube")
    write_cube(Lut3D(np.asarray(lut.table) + 0.01), "film_lifted.cube")
    assert report("film.cube", "film_lifted.cube")["assumed"] == []
    named = ("--source-curve", "Cineon", "--source-gamut", "BT.2020")
    told, given, other = (
        report("film.cube", "film_lifted.cube", *more)["sets"]["chart"]
        for more in ((), (*named, "--target-curve", "BT.709"), ("--source-curve", "ACEScct"))
    )
    assert told == given != other
