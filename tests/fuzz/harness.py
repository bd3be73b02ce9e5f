"""Sending files to the worker process, and counting what becomes of them."""

from __future__ import annotations

import os
import pickle
import select
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from worker import MEMORY

SECONDS = 5.0
"""The most CPU time that one input may take."""

# Of wall time: on a loaded machine five seconds of work take long, and the first
# start of all compiles the kernels.
_HUNG = 60.0
_START = 600.0


@dataclass
class Tally:
    """What was seen of one kind of file."""

    cases: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    memory: int = 0


def judged(result: dict[str, Any]) -> dict[str, Any]:
    """The result of an attempt, which is a fault too where it went over a limit."""
    if result["outcome"] != "fault":
        if result["seconds"] > SECONDS:
            return result | {"outcome": "fault", "place": "took too long"}
        if result["taken"] > MEMORY:
            return result | {"outcome": "fault", "place": "took too much memory"}
    return result


class Harness:
    """A worker process, started anew where it died."""

    def __init__(self) -> None:
        self.tallies: dict[str, Tally] = {}
        self.faults: dict[tuple[str, str], tuple[bytes, str]] = {}
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Harness:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop()

    def attempt(self, kind: str, data: bytes) -> dict[str, Any]:
        """Have the worker read `data` as a file of `kind`; the result says what became of it."""
        result = judged(self._asked(kind, data))
        tally = self.tallies.setdefault(kind, Tally())
        tally.cases += 1
        tally.outcomes[result["outcome"]] += 1
        tally.seconds = max(tally.seconds, result["seconds"])
        tally.memory = max(tally.memory, result["memory"])
        if result["outcome"] == "fault":
            key = (kind, result["place"])
            if key not in self.faults or len(data) < len(self.faults[key][0]):
                self.faults[key] = (data, result["reason"])
        return result

    def _asked(self, kind: str, data: bytes) -> dict[str, Any]:
        process = self._started()
        assert process.stdin is not None
        began = time.monotonic()
        try:
            pickle.dump((kind, data), process.stdin)
            process.stdin.flush()
            return self._answer(process, _HUNG)
        except TimeoutError:
            self._stop()
            place = "hung"
        except (EOFError, BrokenPipeError, pickle.UnpicklingError):
            status = process.wait()
            self._stop()
            place = f"the process died, status {status}"
        return {
            "outcome": "fault",
            "reason": place,
            "place": place,
            "seconds": time.monotonic() - began,
            "memory": 0,
            "taken": 0,
        }

    def _answer(self, process: subprocess.Popen[bytes], patience: float) -> dict[str, Any]:
        assert process.stdout is not None
        ready, _, _ = select.select([process.stdout], [], [], patience)
        if not ready:
            raise TimeoutError
        answer: dict[str, Any] = pickle.load(process.stdout)
        return answer

    def _started(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            # One thread each: thread stacks would count as memory.
            threads = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS")
            process = subprocess.Popen(
                [sys.executable, str(Path(__file__).with_name("worker.py"))],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=os.environ | dict.fromkeys(threads, "1"),
            )
            self._process = process
            assert self._answer(process, _START)["outcome"] == "ready"
        return self._process

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            process.stdin.close()
            process.wait(timeout=5)
        except (subprocess.TimeoutExpired, BrokenPipeError):
            process.kill()
            process.wait()
        process.stdout.close()
