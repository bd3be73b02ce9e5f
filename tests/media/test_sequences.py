"""Sequences: every frame right, none missing, none half-written, whatever happens in between."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from skimage import data

from lutbench import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.media.sequence.frames import FramePattern, list_frames
from lutbench.media.sequence.sequence import SequenceRun, record_path, run_sequence
from lutbench.media.treatment import FramesOutcome, Treatment
from lutbench.tables.lut import Lut3D

LUT = Lut3D(1 - Lut3D.identity(9).table ** 1.7)
TREATMENT = Treatment(LUT)


def picture(number: int) -> NDArray[np.uint8]:
    """The coffee photograph, another part of it in each frame."""
    return np.ascontiguousarray(np.roll(data.coffee(), 7 * number, axis=1)[::2, ::2])


def make_shot(folder: Path, numbers: range) -> None:
    folder.mkdir(exist_ok=True)
    for number in numbers:
        Image.fromarray(picture(number)).save(folder / f"shot.{number:04d}.png", compress_level=1)


def check_frame(path: Path, number: int, lut: Lut3D = LUT) -> None:
    """Half a code of rounding from the LUT in float64; read by Pillow."""
    with Image.open(path) as image:
        exact = lut.apply(picture(number) / 255.0) * 255
        assert np.abs(np.asarray(image) - exact).max() <= 0.5 + 255 * 2e-6


@pytest.fixture
def shot(tmp_path: Path) -> Path:
    make_shot(tmp_path / "shot", range(1, 7))
    return tmp_path / "shot"


def test_frame_patterns() -> None:
    for text in ("shot.####.dpx", "shot.%04d.dpx"):
        pattern = FramePattern.parse(text)
        assert pattern.path(7) == Path("shot.0007.dpx")
        assert pattern.number("shot.12345.dpx") == 12345
        assert [pattern.number(name) for name in ("shot.012.dpx", "shot.00012.dpx", "x.dpx")] == [
            None
        ] * 3
    assert FramePattern.parse("s%d.png").path(7) == Path("s7.png")
    for text in ("shot.dpx", "##_##.dpx"):
        with pytest.raises(LutbenchError, match=r"accepted: one, such as shot\.####\.dpx"):
            FramePattern.parse(text)


def test_which_frames_a_pattern_stands_for(shot: Path, tmp_path: Path) -> None:
    (shot / "shot.0004.png").unlink()
    (shot / "other.png").write_bytes(b"")
    (shot / ".shot.0009.png").write_bytes(b"")
    frames = list_frames(shot / "shot.####.png", tmp_path / "out" / "view_%03d.tif")
    assert [frame.target.name for frame in frames.frames] == [
        f"view_{number:03d}.tif" for number in (1, 2, 3, 5, 6)
    ]
    assert frames.gaps == ((4, 4),)
    into = list_frames(shot / "shot.%04d.png", tmp_path / "out", ".dpx")
    assert into.frames[0].target == tmp_path / "out" / "shot.0001.dpx"
    whole = list_frames(shot, tmp_path / "out")
    assert whole.frames[0].source.name == "other.png"


def test_frames_that_would_hurt_each_other_are_refused(shot: Path, tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match="written over a source"):
        list_frames(shot, shot)
    (shot / "shot.0001.tif").write_bytes(b"")
    with pytest.raises(LutbenchError, match="would get the same file"):
        list_frames(shot, tmp_path / "out", ".dpx")
    with pytest.raises(LutbenchError, match="no file matches this pattern"):
        list_frames(shot / "take.####.png", tmp_path / "out")
    (tmp_path / "empty").mkdir()
    with pytest.raises(LutbenchError, match="holds no still"):
        list_frames(tmp_path / "empty", tmp_path / "out")
    with pytest.raises(LutbenchError, match="is a file"):
        list_frames(shot, shot / "shot.0002.png")


@pytest.mark.parametrize("jobs", [1, 3])
def test_every_frame_comes_out_right(shot: Path, tmp_path: Path, jobs: int) -> None:
    frames = list_frames(shot / "shot.####.png", tmp_path / "out")
    seen: list[int] = []

    def watch(outcome: FramesOutcome) -> None:
        seen.append(outcome.written)

    outcome = run_sequence(frames, TREATMENT, "x", SequenceRun(jobs=jobs), watch=watch)
    assert (outcome.total, outcome.written, outcome.skipped, outcome.failed) == (6, 6, 0, [])
    assert seen == [0, 1, 2, 3, 4, 5, 6]
    for number in range(1, 7):
        check_frame(tmp_path / "out" / f"shot.{number:04d}.png", number)


def test_finished_frames_are_skipped_and_missing_ones_made(shot: Path, tmp_path: Path) -> None:
    frames = list_frames(shot / "shot.####.png", tmp_path / "out")
    run_sequence(frames, TREATMENT, "x")
    before = {each: each.stat().st_mtime_ns for each in (tmp_path / "out").glob("shot*")}
    (tmp_path / "out" / "shot.0003.png").unlink()
    # What a killed worker on another machine leaves: a temporary file, half-written.
    leftover = tmp_path / "out" / ".shot.0003.lutbench-00000000-1-0123456789abcdef.png"
    leftover.write_bytes(b"\x89PNG half")
    another = leftover.with_name(".other.0003.lutbench-00000000-1-0123456789abcdef.png")
    another.write_bytes(b"\x89PNG half")
    outcome = run_sequence(frames, TREATMENT, "x")
    assert (outcome.written, outcome.skipped) == (1, 5)
    check_frame(tmp_path / "out" / "shot.0003.png", 3)
    changed = [each.name for each, stamp in before.items() if each.stat().st_mtime_ns != stamp]
    assert changed == ["shot.0003.png"]
    assert not leftover.exists()
    assert another.exists(), "it is not of these frames"


def test_frames_of_two_luts_are_never_mixed(shot: Path, tmp_path: Path) -> None:
    frames = list_frames(shot / "shot.####.png", tmp_path / "out")
    run_sequence(frames, TREATMENT, "one")
    with pytest.raises(LutbenchError, match="6 of 6 frames exist, made with another LUT"):
        run_sequence(frames, TREATMENT, "two")
    record_path(frames).unlink()
    with pytest.raises(LutbenchError, match="it is not known how they were made"):
        run_sequence(frames, TREATMENT, "one")
    other = Lut3D(LUT.table**2)
    assert run_sequence(frames, Treatment(other), "two", SequenceRun(force=True)).written == 6
    check_frame(tmp_path / "out" / "shot.0004.png", 4, other)


def test_a_forced_run_cut_short_goes_on_with_the_old_frames(shot: Path, tmp_path: Path) -> None:
    frames = list_frames(shot / "shot.####.png", tmp_path / "out")
    run_sequence(frames, TREATMENT, "one")
    other = Lut3D(LUT.table**2)

    class Cut(Exception):
        pass

    def cut(outcome: FramesOutcome) -> None:
        if outcome.written == 2:
            raise Cut

    with pytest.raises(Cut):
        run_sequence(frames, Treatment(other), "two", SequenceRun(force=True, jobs=1), watch=cut)
    outcome = run_sequence(frames, Treatment(other), "two")
    assert outcome.written + outcome.skipped == 6
    assert 2 <= outcome.skipped <= 3
    for number in range(1, 7):
        check_frame(tmp_path / "out" / f"shot.{number:04d}.png", number, other)


def test_single_frames_that_fail_are_listed(shot: Path, tmp_path: Path) -> None:
    good = (shot / "shot.0002.png").read_bytes()
    (shot / "shot.0002.png").write_bytes(good[: len(good) // 2])
    (shot / "shot.0005.png").write_text("not a picture")
    frames = list_frames(shot / "shot.####.png", tmp_path / "out")
    outcome = run_sequence(frames, TREATMENT, "x")
    assert outcome.written == 4
    assert [frame.source.name for frame, _ in outcome.failed] == ["shot.0002.png", "shot.0005.png"]
    assert all("\n" not in message for _, message in outcome.failed)
    assert sorted(each.name for each in (tmp_path / "out").glob("[!.]*")) == [
        f"shot.{number:04d}.png" for number in (1, 3, 4, 6)
    ]
    (shot / "shot.0002.png").write_bytes(good)
    again = run_sequence(frames, TREATMENT, "x")
    assert (again.written, again.skipped, len(again.failed)) == (1, 4, 1)


@pytest.mark.skipif(sys.platform == "win32", reason="the lock is that of POSIX systems")
def test_two_runs_on_the_same_frames_are_refused(shot: Path, tmp_path: Path) -> None:
    frames = list_frames(shot / "shot.####.png", tmp_path / "out")

    def second(outcome: FramesOutcome) -> None:
        if outcome.written == 1:
            with pytest.raises(LutbenchError, match="another run is writing these frames"):
                run_sequence(frames, TREATMENT, "x")

    assert run_sequence(frames, TREATMENT, "x", watch=second).written == 6


def test_killed_at_random_moments_then_resumed(tmp_path: Path) -> None:
    """SIGKILL, three times; after each, whatever bears a frame's name is whole and right."""
    make_shot(tmp_path / "shot", range(1, 25))
    write_cube(LUT, tmp_path / "lut.cube")
    out = tmp_path / "out"
    words = ["apply", tmp_path / "lut.cube", tmp_path / "shot" / "shot.####.png", out]
    order = [sys.executable, "-m", "lutbench", *map(str, words), "--jobs", "2"]
    chance = random.Random(20)
    checked: set[str] = set()
    kills = 0
    for goal in (1, 8, 16):
        run = subprocess.Popen(order, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        while run.poll() is None and sum(1 for _ in out.glob("shot.*")) < goal:
            time.sleep(0.001)
        time.sleep(chance.uniform(0, 0.03))
        if run.poll() is None:
            run.send_signal(signal.SIGKILL)
            kills += 1
        _, complaint = run.communicate()
        assert complaint.decode() == ""
        for each in out.glob("shot.*"):
            if each.name not in checked:
                check_frame(each, int(each.name.split(".")[1]))
                checked.add(each.name)
    assert kills >= 2
    stamps = {each.name: each.stat().st_mtime_ns for each in out.glob("shot.*")}
    last = subprocess.run(order, capture_output=True, text=True)
    assert (last.returncode, last.stderr) == (0, "")
    assert f"{24 - len(stamps)} frames written, {len(stamps)} finished before" in last.stdout
    for number in range(1, 25):
        check_frame(out / f"shot.{number:04d}.png", number)
    assert {each.name: each.stat().st_mtime_ns for each in out.glob("shot.*")} | stamps == {
        each.name: each.stat().st_mtime_ns for each in out.glob("shot.*")
    }
    names = sorted(each.name for each in out.iterdir())
    assert names[1:] == [f"shot.{number:04d}.png" for number in range(1, 25)]
    assert names[0] == ".shot.####.png.lutbench.json"  # and no temporary file, no lock


def test_memory_is_that_of_the_frames_under_work(shot: Path, tmp_path: Path) -> None:
    """No thread is handed a frame before it is free: at most `jobs` are open at once."""
    import threading

    from lutbench.model.transforms import Transform

    open_now: list[int] = []
    most: list[int] = []
    lock = threading.Lock()

    class Counting(Transform):
        def apply(self, rgb):  # type: ignore[no-untyped-def]
            with lock:
                open_now.append(1)
                most.append(len(open_now))
            time.sleep(0.01)
            with lock:
                open_now.pop()
            return rgb

    frames = list_frames(shot, tmp_path / "out")
    run_sequence(frames, Treatment(Counting()), "x", SequenceRun(jobs=2))
    assert max(most) == 2


def test_the_same_bytes_for_any_number_of_jobs(shot: Path, tmp_path: Path) -> None:
    for jobs in (1, 4):
        run_sequence(
            list_frames(shot, tmp_path / f"out{jobs}"), TREATMENT, "x", SequenceRun(jobs=jobs)
        )
    for each in sorted((tmp_path / "out1").glob("*.png")):
        assert each.read_bytes() == (tmp_path / "out4" / each.name).read_bytes()
