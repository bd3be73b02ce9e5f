"""Killed writers, several writers, and the modes of files: nothing is lost, nothing is left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from lutbench import files
from lutbench.errors import LutbenchError

# Writes one of two contents over and over, from the moment it says so.
WRITER = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have it ignored
from lutbench import files
contents = [bytes([each]) * 300_000 for each in (65, 66)]
print("ready", flush=True)
for at in range(10**6):
    files.write_bytes(sys.argv[1], contents[at % 2], force=True)
"""
WHOLE = (b"A" * 300_000, b"B" * 300_000)


def hidden(folder: Path) -> list[str]:
    return [each.name for each in folder.iterdir() if each.name.startswith(".")]


@pytest.mark.skipif(os.name != "posix", reason="signals and process numbers of POSIX")
def test_writers_killed_at_random_leave_a_whole_file_and_the_next_run_nothing(
    tmp_path: Path,
) -> None:
    rng = np.random.default_rng(4)
    target = tmp_path / "out.bin"
    left = 0
    for sent in (signal.SIGKILL, signal.SIGINT, signal.SIGTERM, *[signal.SIGKILL] * 5):
        command = [sys.executable, "-c", WRITER, str(target)]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(rng.uniform(0.005, 0.05))
        process.send_signal(sent)
        process.wait()
        process.stdout.close()
        assert not target.exists() or target.read_bytes() in WHOLE
        left = max(left, len(hidden(tmp_path)))
        assert left <= 1  # each run removes what the last one left
    files._cleaned_folders.clear()
    files.write_bytes(tmp_path / "another.bin", b"next")
    assert hidden(tmp_path) == []


def test_what_belongs_to_somebody_stays(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    here, number = files._machine(), "0123456789abcdef"
    theirs = [
        f".a.lutbench-{here}-{os.getpid()}-{number}.cube",  # of a process that lives
        f".a.lutbench-{'0' * 8}-{gone.pid}-{number}.cube",  # of another machine
        f".a.lutbench-{here}-{gone.pid}-short.cube",
        f"a.lutbench-{here}-{gone.pid}-{number}.cube",  # not hidden
        ".a.lutbench.json",  # the record of a sequence
    ]
    mine = f".a b\nc.lutbench-{here}-{gone.pid}-{number}.cube"
    for name in (*theirs, mine):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / f".d.lutbench-{here}-{gone.pid}-{number}.cube").mkdir()
    files.write_bytes(tmp_path / "b.bin", b"next")
    assert not (tmp_path / mine).exists()
    assert all((tmp_path / name).exists() for name in theirs)


def test_of_many_writers_without_force_one_wins(tmp_path: Path) -> None:
    target = tmp_path / "out.bin"
    start = threading.Barrier(8)

    def write(content: bytes) -> bytes | None:
        start.wait()
        try:
            files.write_bytes(target, content)
        except LutbenchError:
            return None
        return content

    for _ in range(20):
        target.unlink(missing_ok=True)
        with ThreadPoolExecutor(8) as pool:
            won = [each for each in pool.map(write, [bytes([n]) * 5000 for n in range(8)]) if each]
        assert won == [target.read_bytes()]
    assert hidden(tmp_path) == []


def test_a_file_system_without_links_is_written_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: object) -> None:
        raise OSError("no links here")

    monkeypatch.setattr(os, "link", none)
    files.write_bytes(tmp_path / "a.bin", b"1")
    with pytest.raises(LutbenchError, match="was not changed"):
        files.write_bytes(tmp_path / "a.bin", b"2")
    assert (tmp_path / "a.bin").read_bytes() == b"1"


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_writing_never_changes_the_mode_of_another_thread_s_files(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        stop = threading.Event()

        def others(number: int) -> None:
            while not stop.is_set():
                files.write_bytes(tmp_path / f"{number}.bin", b"x", force=True)

        with ThreadPoolExecutor(3) as pool:
            done = [pool.submit(others, number) for number in range(3)]
            for number in range(300):
                path = tmp_path / f"mine{number}"
                path.touch()
                assert path.stat().st_mode & 0o777 == 0o640
            stop.set()
            for each in done:
                each.result()
        assert (tmp_path / "0.bin").stat().st_mode & 0o777 == 0o640
    finally:
        os.umask(old)
