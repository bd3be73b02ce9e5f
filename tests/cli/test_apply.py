"""`lutbench apply` as a user runs it, against colour-science's own interpolation."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import colour
import numpy as np
import pytest
from PIL import Image
from skimage import data

from lutbench.cli.main import main

SIZE = 17


@pytest.fixture(scope="module")
def lut(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A strong LUT written by colour-science: a curve, a matrix and a clip."""
    nodes = colour.LUT3D.linear_table(SIZE)
    matrix = np.array([[1.3, -0.2, -0.1], [-0.1, 1.2, -0.1], [0, -0.3, 1.3]])
    path = tmp_path_factory.mktemp("luts") / "salt.cube"
    colour.write_LUT(colour.LUT3D(np.clip(nodes**1.8 @ matrix.T, 0, 1), "salt"), str(path))
    return path


@dataclass
class Result:
    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Result]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """The command line in this process: its status and what it printed."""

    def call(*args: object) -> Result:
        with pytest.raises(SystemExit) as ended:
            main([str(each) for each in args])
        out, err = capsys.readouterr()
        return Result(int(ended.value.code or 0), out, err)

    return call


@pytest.mark.parametrize("interpolation", ["tetrahedral", "trilinear"])
def test_a_still_as_colour_science_makes_it(
    run: Run, lut: Path, tmp_path: Path, interpolation: str
) -> None:
    photograph = np.ascontiguousarray(data.coffee()[::4, ::4])
    Image.fromarray(photograph).save(tmp_path / "in.png")
    target = tmp_path / "out.png"
    result = run("apply", lut, tmp_path / "in.png", target, "--interpolation", interpolation)
    assert (result.returncode, result.stderr) == (0, "")
    method = {
        "tetrahedral": colour.algebra.table_interpolation_tetrahedral,
        "trilinear": colour.algebra.table_interpolation_trilinear,
    }[interpolation]
    exact = method(photograph / 255, colour.read_LUT(str(lut)).table) * 255
    with Image.open(target) as picture:
        # Half a code of rounding, and what float32 adds.
        assert np.abs(np.asarray(picture) - exact).max() <= 0.5 + 255 * 2e-6


def test_what_exists_stays_unless_forced(run: Run, lut: Path, tmp_path: Path) -> None:
    Image.fromarray(data.coffee()[::8, ::8]).save(tmp_path / "in.png")
    (tmp_path / "out.png").write_bytes(b"mine")
    result = run("apply", lut, tmp_path / "in.png", tmp_path / "out.png")
    assert result.returncode == 2
    assert result.stderr.count("\n") == 1
    assert "--force" in result.stderr
    assert (tmp_path / "out.png").read_bytes() == b"mine"
    assert run("apply", lut, tmp_path / "in.png", tmp_path / "out.png", "--force").returncode == 0


@pytest.mark.parametrize(
    ("source", "target", "options", "words"),
    [
        ("missing.png", "out.png", [], "missing.png: cannot read"),
        ("in.png", "out.gif", [], "'.gif' is not a suffix"),
        ("in.png", "out.png", ["--depth", "10"], "png cannot hold a depth of 10"),
        ("in.png", "out.png", ["--target-gamut", "BT709x"], "there is no tag for the gamut"),
        ("in.png", "nowhere/out.png", [], "cannot write"),
    ],
)
def test_faults_are_one_line(
    run: Run, lut: Path, tmp_path: Path, source: str, target: str, options: list[str], words: str
) -> None:
    Image.fromarray(data.coffee()[::8, ::8]).save(tmp_path / "in.png")
    result = run("apply", lut, tmp_path / source, tmp_path / target, *options)
    assert result.returncode == 2
    assert result.stderr.count("\n") == 1
    assert words in result.stderr


@pytest.fixture
def shot(tmp_path: Path) -> Path:
    folder = tmp_path / "shot"
    folder.mkdir()
    for number in (1, 2, 3, 5):
        picture = np.roll(data.coffee()[::8, ::8], number, axis=1)
        Image.fromarray(picture).save(folder / f"shot.{number:04d}.png")
    return folder


def test_a_frame_pattern(run: Run, lut: Path, shot: Path, tmp_path: Path) -> None:
    result = run("apply", lut, shot / "shot.####.png", tmp_path / "out" / "view.%04d.tif")
    assert result.returncode == 0
    assert result.stderr == "note: frame 4 missing in shot.####.png\n"
    assert result.stdout == f"{tmp_path / 'out'}: 4 frames written\n"
    names = [each.name for each in sorted((tmp_path / "out").glob("view*"))]
    assert names == [f"view.{number:04d}.tif" for number in (1, 2, 3, 5)]
    again = run("apply", lut, shot / "shot.####.png", tmp_path / "out" / "view.%04d.tif")
    assert "0 frames written, 4 finished before" in again.stdout


def test_frames_that_fail_are_listed_and_the_status_is_1(
    run: Run, lut: Path, shot: Path, tmp_path: Path
) -> None:
    (shot / "shot.0002.png").write_text("no picture")
    result = run("apply", lut, shot, tmp_path / "out", "--format", "tiff")
    assert result.returncode == 1
    assert result.stderr.startswith(f"failed: {shot / 'shot.0002.png'}: ")
    assert result.stderr.count("\n") == 1
    assert result.stdout == f"{tmp_path / 'out'}: 3 frames written, 1 failed\n"
    report = json.loads(
        run("apply", lut, shot, tmp_path / "out", "--format", "tiff", "--json").stdout
    )
    assert (report["schema"], report["frames"], report["written"]) == (1, 4, 0)
    assert report["skipped"] == 3
    assert report["failed"][0]["source"] == str(shot / "shot.0002.png")


def test_other_settings_are_not_mixed_in(run: Run, lut: Path, shot: Path, tmp_path: Path) -> None:
    assert run("apply", lut, shot, tmp_path / "out").returncode == 0
    other = run("apply", lut, shot, tmp_path / "out", "--interpolation", "trilinear")
    assert other.returncode == 2
    assert "made with another LUT or other settings" in other.stderr
    forced = run("apply", lut, shot, tmp_path / "out", "--interpolation", "trilinear", "--force")
    assert "4 frames written" in forced.stdout


def test_progress_only_on_a_terminal(lut: Path, shot: Path, tmp_path: Path) -> None:
    pty = pytest.importorskip("pty")
    main_end, terminal = pty.openpty()
    process = subprocess.run(
        [sys.executable, "-m", "lutbench", "apply", lut, shot, tmp_path / "out", "--jobs", "1"],
        stdout=subprocess.PIPE,
        stderr=terminal,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "80"},
    )
    os.close(terminal)
    shown = b""
    while chunk := _read(main_end):
        shown += chunk
    os.close(main_end)
    assert process.returncode == 0
    assert b"4/4" in shown
    assert b"left" in shown
    assert process.stdout.decode() == f"{tmp_path / 'out'}: 4 frames written\n"


def _read(descriptor: int) -> bytes:
    try:
        return os.read(descriptor, 4096)
    except OSError:  # how Linux says that the other end is closed
        return b""
