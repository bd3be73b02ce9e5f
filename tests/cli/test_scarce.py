"""Descriptors and address space that run out: a report, or one line and the right status.

Each command runs in a fork of its own under a limit: on the descriptors that are left beyond
those that Python has opened, or on the address space beyond what it has taken. Whatever library
meets the limit first, there is no traceback, no half-written file and no hidden one.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from every_command import LINES, files_for_commands

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="limits as Linux has them")

# Forks a process for each command and amount: cheaper than to start Python for each.
SERVER = """
import json, os, resource, shutil, sys
import lutbench.__main__
wanted = json.load(sys.stdin)
kind = getattr(resource, wanted["kind"])
found = []
for line in wanted["lines"]:
    for amount in wanted["amounts"]:
        if not os.fork():
            os.setsid()
            for number, name in ((1, "said.txt"), (2, "complained.txt")):
                os.dup2(os.open(name, os.O_CREAT | os.O_TRUNC | os.O_WRONLY), number)
            if wanted["kind"] == "RLIMIT_AS":
                taken = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
                most = taken + (amount << 20)
            else:
                handles = [int(name) for name in os.listdir("/proc/self/fd")]
                os.closerange(3, max(handles) + 1)
                most = 3 + amount
            resource.setrlimit(kind, (most, most))
            resource.setrlimit(resource.RLIMIT_CPU, (60, 60))  # rather than wait for ever
            try:
                sys.argv[1:] = line.split()
                lutbench.__main__.run()
            except SystemExit as end:
                for stream in (sys.stdout, sys.stderr):
                    stream.flush()
                os._exit(end.code or 0)
            os._exit(99)
        status = os.waitstatus_to_exitcode(os.wait()[1])
        made = [os.path.join(at, name) for at, _, names in os.walk(".") for name in names]
        hidden = [each for each in made if os.path.basename(each).startswith(".")]
        # What a sequence remembers of itself stays.
        hidden = [each for each in hidden if not each.endswith(".lutbench.json")]
        told = open("complained.txt", errors="replace").read()
        found.append([line, amount, status, told, hidden])
        for name in os.listdir("."):
            if name.startswith("out"):
                shutil.rmtree(name) if os.path.isdir(name) else os.unlink(name)
        for each in hidden:
            if os.path.exists(each):
                os.unlink(each)
json.dump(found, sys.stdout)
"""


@dataclass(frozen=True)
class Ending:
    """How a command ended under a limit."""

    line: str
    amount: int
    status: int
    told: str
    hidden: list[str]

    @property
    def fault(self) -> str:
        """What is wrong with it; nothing where it is as it should be."""
        lines = self.told.splitlines()
        complaints = [each for each in lines if each.startswith("lutbench: ")]
        if "Traceback" in self.told:
            return "a traceback"
        if self.hidden:
            return f"left {self.hidden}"
        if self.status == 2 and len(complaints) == 1:
            return ""
        # One that failed of several checks or frames is told line by line.
        return "" if self.status in (0, 1) else f"status {self.status}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return files_for_commands(tmp_path_factory.mktemp("scarce"))


def endings(folder: Path, kind: str, amounts: list[int], lines: list[str]) -> list[Ending]:
    """How each command ends with each amount left."""
    wanted: dict[str, Any] = {"kind": kind, "amounts": amounts, "lines": lines}
    done = subprocess.run(
        [sys.executable, "-c", SERVER],
        input=json.dumps(wanted),
        capture_output=True,
        text=True,
        cwd=folder,
        # What `coverage` measures needs descriptors and memory of its own.
        env={k: v for k, v in os.environ.items() if "COVERAGE" not in k}
        | {"PYTHONPATH": os.pathsep.join(sys.path), "OPENBLAS_NUM_THREADS": "1"},
        check=True,
    )
    return [Ending(*each) for each in json.loads(done.stdout)]


def faults(ended: list[Ending]) -> list[str]:
    return [
        f"{each.line}, {each.amount} left: {each.fault}\n{each.told}"
        for each in ended
        if each.fault
    ]


SOME = ["inspect a.cube b.cube --json", "convert a.cube out.clf"]


def test_few_descriptors(folder: Path) -> None:
    ended = endings(folder, "RLIMIT_NOFILE", [0, 2], SOME)
    assert faults(ended) == []
    assert {each.status for each in ended} == {0, 2}
    told = {each.told.splitlines()[-1] for each in ended if each.status == 2}
    assert all("Too many open files" in each for each in told)


def test_little_address_space(folder: Path) -> None:
    """Where numpy cannot be loaded its library would end the process as a check that fails does."""
    ended = endings(folder, "RLIMIT_AS", [30, 260, 900], SOME[:1])
    assert faults(ended) == []
    assert [each.status for each in ended] == [2, 0, 0]
    assert "accepted: 256 MiB or more" in ended[0].told


@pytest.mark.slow
@pytest.mark.parametrize("line", LINES)
def test_descriptors_run_out_anywhere(line: str, folder: Path) -> None:
    ended = endings(folder, "RLIMIT_NOFILE", [0, 1, 2, 3, 5, 8, 60], [line])
    assert faults(ended) == []
    assert ended[-1].status != 2


@pytest.mark.slow
@pytest.mark.parametrize("line", LINES)
def test_address_space_runs_out_anywhere(line: str, folder: Path) -> None:
    # With less, libraries in C end the process, and OpenBLAS waits for ever.
    least = [] if line.startswith("demo") or "--page" in line else [420, 520]
    ended = endings(folder, "RLIMIT_AS", [*least, 960], [line])
    assert faults(ended) == []
    assert ended[-1].status != 2  # 1 GiB in all


@pytest.mark.slow
def test_no_folder_for_caches_is_no_matter_for_the_user(tmp_path: Path) -> None:
    """Libraries that draw keep caches too, and would say at length that they cannot."""
    (tmp_path / "file").touch()
    nowhere = str(tmp_path / "file" / "folder")
    names = ("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "NUMBA_CACHE_DIR")
    settings = os.environ | dict.fromkeys(names, nowhere)
    settings.pop("MPLCONFIGDIR", None)
    run = [sys.executable, "-m", "lutbench"]
    ends = ["--source-curve", "ACEScct", "--target-curve", "BT.1886", "--kind", "curve"]
    subprocess.run([*run, "build", *ends, "-o", "a.cube"], cwd=tmp_path, env=settings, check=True)
    done = subprocess.run(
        [*run, "inspect", "a.cube", "--page", "a.html"],
        cwd=tmp_path,
        env=settings,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "a.html: page written\n")
