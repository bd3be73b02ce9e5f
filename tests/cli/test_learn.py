"""`lutbench learn` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data

from lutbench import open_lut
from lutbench.cli.main import main
from lutbench.model.grade import Cdl

Printed = pytest.CaptureFixture[str]
GRADE = Cdl((1.1, 1.0, 0.9), (-0.02, 0.0, 0.02), (1.1, 1.0, 0.95), 1.2)


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    before = data.coffee()[:200, :300]
    after = np.round(GRADE.apply(before / 255.0) * 255).astype(np.uint8)
    paths = tmp_path / "before.png", tmp_path / "after.png"
    for path, picture in zip(paths, (before, after), strict=True):
        Image.fromarray(picture).save(path)
    return paths


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(each) for each in args])
    return int(ended.value.code or 0)


def test_learn(pair: tuple[Path, Path], tmp_path: Path, capsys: Printed) -> None:
    out, drawn = tmp_path / "out.cube", tmp_path / "covered.png"
    assert run("learn", *pair, "-o", out, "--size", 17, "--coverage", drawn, "--json") == 0
    report = json.loads(capsys.readouterr().out)
    assert report["schema"] == 1
    assert report["held_out_delta_e_2000"]["mean"] < 1
    assert 0 < report["coverage"] < 1
    with Image.open(drawn) as picture:
        assert picture.width > 1000
    before = data.coffee()[:200, :300] / 255.0
    off = np.abs(open_lut(out).apply(before) - GRADE.apply(before))
    assert off.mean() < 2 / 255
    assert run("learn", *pair, "-o", out, "--size", 9, "--force") == 0
    printed = capsys.readouterr().out
    assert "held out" in printed
    # What the figures say nothing about comes before the figures.
    assert printed.index("of the nodes") < printed.index("held out")
    assert "covered from" in printed


def test_little_coverage_is_said_before_the_figures(tmp_path: Path, capsys: Printed) -> None:
    dull = (100 + data.coffee()[:200, :300] // 8).astype(np.uint8)
    paths = tmp_path / "a.png", tmp_path / "b.png"
    Image.fromarray(dull).save(paths[0])
    Image.fromarray(np.round(GRADE.apply(dull / 255.0) * 255).astype(np.uint8)).save(paths[1])
    assert run("learn", *paths, "-o", tmp_path / "out.cube", "--size", 17) == 0
    printed = " ".join(capsys.readouterr().out.split())
    share = float(printed.split("near ")[1].split("%")[0])
    assert 0 < share < 0.9
    assert "the rest is a guess" in printed
    assert printed.index("is a guess") < printed.index("held out")


def test_the_file_says_what_it_covers_and_inspect_reads_it(tmp_path: Path, capsys: Printed) -> None:
    few = np.random.default_rng(1).random((96, 128, 3)) * [0.3, 0.1, 0.1] + 0.3
    paths = tmp_path / "a.png", tmp_path / "b.png"
    for path, colours in zip(paths, (few, few**1.1), strict=True):
        Image.fromarray(np.rint(255 * colours).astype(np.uint8)).save(path)
    out = tmp_path / "out.cube"
    assert run("learn", *paths, "-o", out, "--size", 17, "--json") == 0
    coverage = 100 * json.loads(capsys.readouterr().out)["coverage"]
    assert run("inspect", out, "--json") == 0
    box = json.loads(capsys.readouterr().out)["box"]
    assert f"near {coverage:.1f} % of the nodes" in box["good_for"]
    assert "as the file says" in box["good_for"]
    assert "other colours (there it is a guess)" in box["not_for"]


def test_learn_refuses(pair: tuple[Path, Path], tmp_path: Path, capsys: Printed) -> None:
    other = tmp_path / "other.png"
    Image.fromarray(data.astronaut()[:200, :300]).save(other)
    out = tmp_path / "out.cube"
    for args, words in (
        ((pair[0], other), "not the same picture"),
        ((pair[0], tmp_path / "none.png"), "none.png"),
        ((*pair, "--coverage", tmp_path / "covered.jpg"), "a .png"),
        ((*pair, "--coverage", other), "--force"),
    ):
        assert run("learn", *args, "-o", out) == 2
        captured = capsys.readouterr()
        assert captured.err.count("\n") == 1
        assert words in captured.err
    assert not out.exists()
