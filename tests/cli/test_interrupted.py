"""Every command interrupted (SIGINT) on its way: status 130, one line, and nothing half-written.

`tests/benchmarks/measure_largest.py` measures how long each takes to end on the largest LUT.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from every_command import LINES, files_for_commands

from lutbench.cli.main import COMMANDS

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")

INTERRUPTED = 130
SHARES = (0.35, 0.6, 0.85)
"""Of the time that a command takes: when it is interrupted."""


def test_every_command_is_among_the_lines() -> None:
    assert {line.split()[0] for line in LINES} == set(COMMANDS)


def started(line: str, folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "lutbench", *line.split()],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        # A shell in the background has it ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def made(folder: Path) -> dict[str, int]:
    """What a command wrote, and how large it is."""
    return {
        str(each.relative_to(folder)): each.stat().st_size
        for top in folder.glob("out*")
        for each in ([top] if top.is_file() else top.rglob("*"))
        if each.is_file()
    }


def clear(folder: Path) -> None:
    for each in made(folder):
        (folder / each).unlink()


@pytest.mark.slow
@pytest.mark.parametrize("line", LINES)
def test_an_interrupt_ends_it(line: str, tmp_path: Path) -> None:
    folder = files_for_commands(tmp_path)
    began = time.monotonic()
    _, told = (process := started(line, folder)).communicate()
    takes = time.monotonic() - began
    assert process.returncode in (0, 1), told
    whole = made(folder)
    for share in SHARES:
        clear(folder)
        process = started(line, folder)
        time.sleep(share * takes)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
        # While Python itself starts, it ends as Python does; or it was faster this time.
        assert process.returncode in (0, 1, INTERRUPTED, -signal.SIGINT), told
        if process.returncode == INTERRUPTED:
            assert told.splitlines()[-1] == "lutbench: interrupted"
            assert told.count("lutbench: ") == 1
            assert "Traceback" not in told
        left = made(folder)
        assert left.items() <= whole.items()
        # What a sequence remembers of itself stays.
        hidden = [each.name for each in folder.rglob(".*") if not each.name.endswith(".json")]
        assert hidden == []


ENDLESS = """
import os, signal, sys, time
from concurrent.futures import ThreadPoolExecutor

import click

from lutbench.cli.main import register
from lutbench.files import replacing
from lutbench.long_work import Workers, run_parallel


def work(name, _):
    with replacing(f"out-{name}"):
        os.write(1, b"begun\\n")  # one write: lines of two workers do not mix
        time.sleep(1000)


def tell(name, _):
    os.write(1, b"begun\\n")  # one write: lines of two workers do not mix


@click.command()
@click.argument("way")
def command(way):
    if way == "processes":
        list(run_parallel(work, ["a", "b", "c"], None, Workers(jobs=2)))
    elif way == "printing":
        for _ in run_parallel(tell, ["a", "b", "c"], None, Workers(jobs=2)):
            time.sleep(1000)
    else:
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(work, ["a", "b"], [None, None]))


if __name__ == "__main__":
    from lutbench.__main__ import run

    sys.modules["endless.here"] = sys.modules["__main__"]
    register("endless", "endless.here", "Never ends.")
    run()
"""


@pytest.mark.slow
@pytest.mark.parametrize("way", ["processes", "printing", "threads"])
def test_work_that_never_ends_is_ended(way: str, tmp_path: Path) -> None:
    (tmp_path / "endless.py").write_text(ENDLESS)
    process = subprocess.Popen(
        [sys.executable, "endless.py", "endless", way],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        start_new_session=True,
    )
    assert process.stdout is not None
    for _ in range(2):
        assert "begun" in process.stdout.readline()
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does, to each process
    # Its output ends only when nobody holds it: not before all processes have ended.
    _, told = process.communicate(timeout=60)
    assert process.returncode == INTERRUPTED
    assert told.strip() == "lutbench: interrupted"
    assert {each.name for each in tmp_path.iterdir()} <= {"endless.py", "__pycache__"}


def test_an_interrupt_waits_while_compiled_code_starts() -> None:
    """Some libraries end the process when an exception comes out of their start."""
    from importlib.machinery import ExtensionFileLoader, SourceFileLoader

    from lutbench.__main__ import _must_wait

    def exec_module(self: object) -> bool:
        def within() -> bool:
            return _must_wait(sys._getframe())

        assert self is not None  # found among the frame's variables
        return within()

    assert exec_module(ExtensionFileLoader("name", "name.so"))
    assert not exec_module(SourceFileLoader("name", "name.py"))
    assert not _must_wait(sys._getframe())


DROPPING = """
import signal, sys, time, weakref

import click

from lutbench.cli.main import register


class Dropped:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)


@click.command()
@click.argument("way")
def command(way):
    if way == "callback":
        it = type("It", (), {})()
        ref = weakref.ref(it, lambda _: signal.raise_signal(signal.SIGINT))
        del it
    else:
        Dropped()
    time.sleep(1000)


if __name__ == "__main__":
    from lutbench.__main__ import run

    sys.modules["dropping.here"] = sys.modules["__main__"]
    register("dropping", "dropping.here", "Drops it.")
    run()
"""


@pytest.mark.parametrize("way", ["callback", "end"])
def test_an_interrupt_that_python_drops_is_tried_again(way: str, tmp_path: Path) -> None:
    """Out of these an exception is printed and forgotten (Python's docs, `sys.unraisablehook`)."""
    (tmp_path / "dropping.py").write_text(DROPPING)
    done = subprocess.run(
        [sys.executable, "dropping.py", "dropping", way],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (INTERRUPTED, "lutbench: interrupted\n")
