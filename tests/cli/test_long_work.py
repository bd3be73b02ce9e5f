"""Long work says on a terminal what it is at, and an interrupt ends it in one line."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lutbench import long_work
from lutbench.cli import terminal
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D


def test_the_line_comes_after_a_second_and_goes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    now = [100.0]
    monkeypatch.setattr(terminal.time, "monotonic", lambda: now[0])
    line = terminal.StatusLine(lambda: False)
    before = long_work.set_listener(line)
    try:
        long_work.report("reading", 0.1)
        assert capsys.readouterr().err == ""
        now[0] += 1.5
        long_work.report("reading", 0.25)
        long_work.report("reading", 0.26)  # too soon after it
        assert capsys.readouterr().err == "\r\x1b[2Kreading  25 %, 2 s"
        line.clear()
        line.clear()
        assert capsys.readouterr().err == "\r\x1b[2K"
    finally:
        long_work.set_listener(before)


@pytest.mark.skipif(os.name != "posix", reason="terminals of POSIX")
def test_an_interrupt_is_one_line_whenever_it_comes(tmp_path: Path) -> None:
    """Also while threads start: one that nobody knew of kept the process from ending."""
    write_cube(Lut3D.identity(33), tmp_path / "a.cube")
    command = [
        sys.executable,
        "-m",
        "lutbench",
        "rework",
        "resample",
        "a.cube",
        "65",
        "-o",
        "b.cube",
    ]
    for wait in (0.3, 0.6, 0.9):
        master, slave = pty.openpty()
        process = subprocess.Popen(
            command,
            cwd=tmp_path,
            stderr=slave,
            stdout=subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        )
        os.close(slave)
        time.sleep(wait)
        process.send_signal(signal.SIGINT)
        status = process.wait(timeout=60)
        try:
            said = os.read(master, 10000).decode()
        except OSError:  # nothing was said, and nobody is left to say it
            said = ""
        if status == 1:  # Python itself was starting, and says so
            assert "Could not import runpy" in said or "import_site" in said
        else:
            assert status in (0, 130, -signal.SIGINT), said  # the last: before Python's handler
        os.close(master)
        assert not [each for each in tmp_path.iterdir() if each.name.startswith(".")]
        (tmp_path / "b.cube").unlink(missing_ok=True)
