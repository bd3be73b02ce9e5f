"""`lutbench match` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from lutbench import open_lut
from lutbench.cli.main import main
from lutbench.measure.samples import chart24, chart_light
from lutbench.media.still.still import Still, write_still
from lutbench.model.catalogue import open_catalogue
from lutbench.model.gamuts import ACES_AP1, BT709

Printed = pytest.CaptureFixture[str]
LOG = open_catalogue(user=False).curve("ACEScct")
GAINS = np.array([1.6, 1.0, 0.8]) * 0.7
ENDS = ("--source-curve", "ACEScct", "--target-curve", "BT.1886", "--target-gamut", "BT.709")
CORNERS = "20,20 270,20 270,170 20,170"


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(each) for each in args])
    return int(ended.value.code or 0)


@pytest.fixture
def still(tmp_path: Path) -> Path:
    """The chart in the log encoding under a warm light, six columns of 50 pixels."""
    signal = LOG.encode(chart_light(ACES_AP1) * GAINS).reshape(4, 6, 3)
    picture = signal.repeat(50, axis=0).repeat(50, axis=1)
    path = tmp_path / "chart.png"
    codes = np.round(picture * 65535).astype(np.uint16)
    write_still(Still(codes, ("R", "G", "B"), "16"), path)
    return path


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "chart.csv"
    signal = LOG.encode(chart_light(ACES_AP1) * GAINS)
    rows = [f"{name},{r},{g},{b}" for name, (r, g, b) in zip(chart24()[0], signal, strict=True)]
    path.write_text("\n".join(["name,R,G,B", *rows]))
    return path


def test_a_still_to_the_published_values(still: Path, tmp_path: Path, capsys: Printed) -> None:
    out = tmp_path / "match.cube"
    assert run("match", still, *ENDS, "--source-corners", CORNERS, "-o", out, "--json") == 0
    report = json.loads(capsys.readouterr().out)
    assert report["schema"] == 1
    assert len(report["patches"]) == 24
    assert report["delta_e_2000"]["after"]["mean"] < 0.1 < report["delta_e_2000"]["before"]["mean"]
    np.testing.assert_allclose(
        np.array(report["white_balance"]) * 2 ** report["exposure_stops"], 1 / GAINS, rtol=0.01
    )
    signal = LOG.encode(chart_light(ACES_AP1) * GAINS)
    wanted = np.clip(chart_light(BT709), 0, None) ** (1 / 2.4)
    assert np.abs(open_lut(out).apply(signal) - wanted).mean() < 5 / 1023


def test_tables_on_both_sides(table: Path, tmp_path: Path, capsys: Printed) -> None:
    out = tmp_path / "match.cube"
    ends = ("--source-curve", "ACEScct", "--target-curve", "ACEScct", "--target-gamut", "ACEScg")
    assert run("match", table, table, *ends, "-o", out, "--residual") == 0
    printed = capsys.readouterr().out
    assert "exposure +0.00 stops, white balance 1.000 1.000 1.000" in printed
    assert "dark skin" in printed
    assert max(map(len, printed.splitlines())) <= 100


def test_match_refuses(still: Path, table: Path, tmp_path: Path, capsys: Printed) -> None:
    out = tmp_path / "match.cube"
    short = tmp_path / "short.csv"
    short.write_text("R,G,B\n0.1,0.1,0.1\n")
    for args, words in (
        ((still,), "--source-corners"),
        ((still, "--source-corners", "1,2 3,4"), "not four points"),
        ((still, "--source-corners", CORNERS, "--grid", "six"), "COLUMNSxROWS"),
        ((table, short), "24 patches on one side, 1 on the other"),
        ((tmp_path / "none.csv",), "none.csv"),
    ):
        assert run("match", *args, *ENDS, "-o", out) == 2
        captured = capsys.readouterr()
        assert captured.err.count("\n") == 1
        assert words in captured.err
    assert run("match", table, *ENDS[:2], "--target-curve", "x", *ENDS[4:], "-o", out) == 2
    assert "no curve is named 'x'" in capsys.readouterr().err
    assert not out.exists()
