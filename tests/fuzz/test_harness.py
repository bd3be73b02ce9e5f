"""The fuzzer itself: what counts as a fault is seen as one."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import warnings
from collections.abc import Callable
from pathlib import Path

import guided
import pytest
import targets
from harness import SECONDS, Harness, judged
from seeds import seeds
from worker import MEMORY, attempt

from lutbench.errors import LutbenchError


def raising(error: BaseException) -> Callable[[Path], None]:
    def target(path: Path) -> None:
        raise error

    return target


class TwoLines(LutbenchError):
    """What LutbenchError itself does not allow."""

    def __str__(self) -> str:
        return "is\nno LUT"


def warning(path: Path) -> None:
    warnings.warn("overflow encountered in multiply", RuntimeWarning, stacklevel=1)


@pytest.mark.parametrize(
    ("target", "outcome", "place"),
    [
        (lambda path: None, "read", ""),
        (raising(LutbenchError("is not a LUT")), "refused", ""),
        (raising(TwoLines("is not a LUT")), "fault", "message of more than one line"),
        (raising(ValueError("no LUT")), "fault", "ValueError in test_harness.py:target"),
        (raising(RecursionError()), "fault", "RecursionError in test_harness.py:target"),
        (raising(SystemExit(2)), "fault", "SystemExit in test_harness.py:target"),
        (warning, "fault", "RuntimeWarning in test_harness.py:warning"),
    ],
)
def test_what_becomes_of_a_file(
    target: Callable[[Path], None],
    outcome: str,
    place: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(targets.TARGETS, "cube", (".cube", target))
    found = attempt("cube", tmp_path / "in.cube")
    assert (found["outcome"], found["place"]) == (outcome, place)


def test_the_limits() -> None:
    fine = {"outcome": "refused", "place": "", "seconds": 0.9 * SECONDS, "taken": MEMORY}
    assert judged(fine) == fine
    assert judged(fine | {"seconds": 1.1 * SECONDS})["place"] == "took too long"
    assert judged(fine | {"taken": MEMORY + 1})["place"] == "took too much memory"
    assert (SECONDS, MEMORY) == (5.0, 1 << 30)


def test_time_and_memory_are_measured(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def hungry(path: Path) -> None:
        held = bytearray(b"x") * (300 << 20)
        sum(held[:: 1 << 8])

    monkeypatch.setitem(targets.TARGETS, "cube", (".cube", hungry))
    found = attempt("cube", tmp_path / "in.cube")
    assert found["memory"] > found["taken"] > 290 << 20  # some of it may have been there
    assert found["seconds"] > 0.005
    monkeypatch.setitem(targets.TARGETS, "cube", (".cube", lambda path: None))
    # The peak of one file is not that of the next.
    assert attempt("cube", tmp_path / "in.cube")["taken"] < 100 << 20


def test_a_process_that_dies_is_a_fault() -> None:
    (whole, *_) = seeds()["cube"]
    with Harness() as harness:
        process = harness._started()
        os.kill(process.pid, signal.SIGSEGV)
        process.wait()
        assert harness.attempt("cube", whole)["place"] == "the process died, status -11"
        assert harness.tallies["cube"].outcomes == {"fault": 1}
        assert list(harness.faults) == [("cube", "the process died, status -11")]


def test_the_guided_fuzzer_knows_every_kind_and_says_what_it_needs(tmp_path: Path) -> None:
    assert tuple(targets.TARGETS) == guided.KINDS
    (tmp_path / "atheris.py").write_text("raise ImportError")
    done = subprocess.run(
        [sys.executable, str(guided.__file__), "cube"],
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "atheris is not installed: pip install atheris\n"
