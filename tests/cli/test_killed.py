"""Commands killed at random while they write: old or new, whole, and nothing left afterwards.

Each command is started many times and ended at a time drawn by chance by one of three
signals. Then the command runs once to its end: what it leaves is what an undisturbed run does.
"""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
from small_clip import write_small_clip

from lutbench.formats.cube_write import write_cube
from lutbench.media.still.still import Still, write_still
from lutbench.tables.lut import Lut3D

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="signals of POSIX"),
]

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)
ENDS = {signal.SIGINT: 130, signal.SIGTERM: -signal.SIGTERM, signal.SIGKILL: -signal.SIGKILL}
KILLS = 9
"""Times that each command is ended."""

RUN = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have it ignored
from lutbench.__main__ import run
run()
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with two LUTs, a clip, a sequence and a suite."""
    monkeypatch.chdir(tmp_path)
    grid = Lut3D.identity(17).table
    write_cube(Lut3D(grid**0.8), tmp_path / "old.cube")
    write_cube(Lut3D(grid**1.2), tmp_path / "new.cube")
    rng = np.random.default_rng(2)
    base = rng.integers(0, 255, (180, 320, 3), np.uint8)
    write_small_clip(tmp_path / "in.mkv", (np.roll(base, at, 1) for at in range(60)))
    (tmp_path / "in").mkdir()
    for at in range(24):
        picture = Still(np.roll(base, at, 0), ("R", "G", "B"), "8")
        write_still(picture, tmp_path / "in" / f"a.{at:04}.png", force=True)
    (tmp_path / "suite.toml").write_text(
        '[[check]]\nname = "one"\nkind = "baseline"\nlut = "new.cube"\nbaseline = "kept.cube"\n'
        '[[check]]\nname = "two"\nkind = "baseline"\nlut = "new.cube"\nbaseline = "kept.csv"\n'
    )
    return tmp_path


def started(words: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", RUN, *words.split()],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "LUTBENCH_THREADS": "2"},
    )


def finished(words: str) -> float:
    """Run a command to its end; the seconds it took."""
    began = time.monotonic()
    process = started(words)
    _, said = process.communicate()
    assert process.returncode == 0, said.decode()
    return time.monotonic() - began


def killed_at_random(words: str, whole: Callable[[], None], before: Callable[[], None]) -> int:
    """End a command at random; how often before its end. `whole` looks at what is there."""
    rng = np.random.default_rng(6)
    takes = finished(words)
    cut = 0
    for number in range(KILLS):
        before()
        sent = SIGNALS[number % len(SIGNALS)]
        process = started(words)
        # Loading takes its time in which nothing is written.
        time.sleep(rng.uniform(0.25, 1.0) * takes)
        process.send_signal(sent)
        _, said = process.communicate(timeout=120)
        # While Python itself starts, nobody but the system hears the signal.
        assert process.returncode in (0, ENDS[sent], -sent), said.decode()
        cut += process.returncode != 0
        whole()
    before()
    finished(words)
    whole()
    return cut


def hidden(folder: Path) -> list[str]:
    # What a sequence remembers of itself stays.
    return [
        each.name
        for each in folder.rglob(".*")
        if each.is_file() and not each.name.endswith(".lutbench.json")
    ]


def shown(path: Path) -> list[str]:
    """The frames of a clip, as digests."""
    with av.open(str(path)) as file:
        return [hashlib.sha256(frame.to_ndarray()).hexdigest() for frame in file.decode(video=0)]


def test_a_clip(folder: Path) -> None:
    out = folder / "out.mkv"
    finished("apply old.cube in.mkv out.mkv --codec ffv1")
    old = shown(out)
    finished("apply new.cube in.mkv out.mkv --codec ffv1 --force")
    new = shown(out)
    assert len(old) == len(new) == 60
    assert old != new
    kept = folder / "kept.mkv"
    finished("apply old.cube in.mkv kept.mkv --codec ffv1")

    def before() -> None:
        out.write_bytes(kept.read_bytes())

    def whole() -> None:
        assert shown(out) in (old, new)
        assert len(hidden(folder)) <= 1  # each run removes what the last one left

    words = "apply new.cube in.mkv out.mkv --codec ffv1 --force"
    assert killed_at_random(words, whole, before) > KILLS / 3
    assert shown(out) == new
    assert hidden(folder) == []


def test_a_sequence(folder: Path) -> None:
    finished("apply new.cube in expected")
    expected = {each.name: each.read_bytes() for each in (folder / "expected").glob("*.png")}
    assert len(expected) == 24
    out = folder / "out"

    def whole() -> None:
        for each in out.glob("a.*.png"):
            assert each.read_bytes() == expected[each.name]

    def before() -> None:
        if len(list(out.glob("a.*.png"))) > 12:  # little is left to be ended in
            for each in out.iterdir():
                each.unlink()

    # Not --force: each run goes on where the last one was ended.
    assert killed_at_random("apply new.cube in out", whole, before) >= 1
    assert len(list(out.glob("a.*.png"))) == 24
    assert hidden(out) == []


def test_recorded_baselines(folder: Path) -> None:
    old = {"kept.cube": b"", "kept.csv": b""}
    finished("verify suite.toml --record")
    new = {name: (folder / name).read_bytes() for name in old}
    (folder / "suite.toml").write_text(
        (folder / "suite.toml").read_text().replace("new.cube", "old.cube")
    )
    finished("verify suite.toml --record --force")
    old = {name: (folder / name).read_bytes() for name in old}
    assert old["kept.csv"] != new["kept.csv"]
    (folder / "suite.toml").write_text(
        (folder / "suite.toml").read_text().replace("old.cube", "new.cube")
    )

    def before() -> None:
        for name, content in old.items():
            (folder / name).write_bytes(content)

    def whole() -> None:
        for name in old:
            assert (folder / name).read_bytes() in (old[name], new[name])

    words = "verify suite.toml --record --force"
    assert killed_at_random(words, whole, before) > KILLS / 3
    assert {name: (folder / name).read_bytes() for name in new} == new
    assert hidden(folder) == []
