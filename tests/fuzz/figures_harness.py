"""Runs command lines in this process and judges how each of them ended."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import time
import traceback
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from calls import Call, Place, call

from lutbench.cli.main import main
from lutbench.media.chart.layout import draw_chart
from lutbench.media.still.still import Still, write_still

SECONDS = 5.0
"""The most processor time of a command on such a file."""

SECONDS_OF = {"demo": 30.0}
"""The demo is a day's work of commands."""


SLOW = "took too long"
FAULT = 70
"""The exit status of what the command itself did wrong."""


# A check that cannot be done says why, with the numbers it was given.
_NOT_FINITE = re.compile(r"(?<![\w.])(nan|-?inf)(?![\w.])")


@dataclass(frozen=True)
class Ending:
    """How a call ended; `fault` is empty where it was as it should be."""

    call: Call
    status: int
    fault: str
    reason: str
    seconds: float


@dataclass
class Record:
    """What was seen of all calls."""

    seed: int
    folder: Path
    nodes: int | None = None
    """The size of every lattice, where one is told."""
    endings: Counter[str] = field(default_factory=Counter)
    faults: dict[str, list[tuple[int, Ending]]] = field(default_factory=dict)
    seconds: dict[str, list[tuple[float, int]]] = field(default_factory=dict)
    """Of processor time, and the number of the case, by the name of the call."""
    stills: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.stills = good_stills(self.folder)

    def attempt(self, number: int) -> Ending:
        """Make and run the call of a number."""
        ending = self._run(number)
        if ending.fault.endswith(SLOW):
            # Once more: the first call of a kind compiles its kernels.
            ending = self._run(number)
        self.seconds.setdefault(ending.call.name, []).append((ending.seconds, number))
        self.endings["fault" if ending.fault else f"status {ending.status}"] += 1
        if ending.fault:
            self.faults.setdefault(ending.fault, []).append((number, ending))
        return ending

    def _run(self, number: int) -> Ending:
        place = self.folder / "work"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        return run(call(self.seed, number, Place(place, self.stills, self.nodes)))

    def table(self) -> list[str]:
        """The processor time of each call, the slowest first, as lines of Markdown."""
        rows = ["| command | calls | median s | 99 % s | most s | of case |", "|---|" + "---:|" * 5]
        for name, found in sorted(self.seconds.items(), key=lambda each: -max(each[1])[0]):
            median, high = np.percentile([seconds for seconds, _ in found], [50, 99])
            most, case = max(found)
            row = f"| `{name}` | {len(found)} | {median:.2f} | {high:.2f} | {most:.2f} | {case} |"
            rows.append(row)
        return rows


def good_stills(folder: Path) -> dict[str, str]:
    """Pictures with which nothing is wrong."""
    rng = np.random.default_rng(1)
    ramp = np.linspace(0, 255, 12 * 16 * 3).reshape(12, 16, 3).astype(np.uint8)
    after = np.clip(ramp + rng.integers(0, 20, ramp.shape), 0, 255).astype(np.uint8)
    pictures = {
        "STILL": Still(ramp, ("R", "G", "B"), "8"),
        "BEFORE": Still(ramp, ("R", "G", "B"), "8"),
        "AFTER": Still(after, ("R", "G", "B"), "8"),
        "CHART": draw_chart(5, 320, 192),
    }
    paths = {name: folder / f"{name.lower()}.png" for name in pictures}
    for name, picture in pictures.items():
        write_still(picture, paths[name], force=True)
    return {name: str(path) for name, path in paths.items()}


def run(of: Call) -> Ending:
    """Run a call; a warning is a fault as a traceback is."""
    out, err = io.StringIO(), io.StringIO()
    started = time.process_time()
    status, fault, reason = 0, "", ""
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("error")
        try:
            main(list(of.args))
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0
        except BaseException as error:
            fault, reason = _place(error), "".join(traceback.format_exception(error))
    seconds = time.process_time() - started
    if not fault:
        fault, reason = judged(of, status, out.getvalue(), err.getvalue(), seconds)
    return Ending(of, status, fault, reason, seconds)


def judged(of: Call, status: int, out: str, err: str, seconds: float) -> tuple[str, str]:
    """What is wrong with an ending, and its reason; nothing where it is as it should be."""
    if status == FAULT:
        found = re.search(r"input: (\w+).*\((\S+):\d+\)", err)
        return f"{found[1]} in {found[2]}" if found else "a fault of its own", err
    if status not in (0, 1, 2):
        return f"status {status}", err
    if "Traceback" in err or "Warning" in err:
        return "a traceback or warning was printed", err
    lines = [line for line in err.splitlines() if line.startswith("lutbench: ")]
    if status == 2 and (len(lines) != 1 or not lines[0].isprintable()):
        return "not refused in one line", err
    if "--json" in of.args and status != 2:
        try:
            json.loads(out, parse_constant=_no_number)
        except ValueError as error:
            return "the JSON cannot be read", f"{error}\n{out[:500]}"
    elif of.args[0] != "verify" and (found := re.search(_NOT_FINITE, out)):
        at = max(0, found.start() - 200)
        return f"{found.group()} in the report of {of.args[0]}", out[at : found.end() + 100]
    left = [name for name in os.listdir(of.folder) if name.startswith(".")]
    if left:
        return "a hidden file is left", str(left)
    if seconds > SECONDS_OF.get(of.args[0], SECONDS):
        return f"{of.args[0]} {SLOW}", f"{seconds:.1f} s"
    return "", ""


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is not a number of JSON")


def _place(error: BaseException) -> str:
    """The last line of the package that an error came through."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [each for each in frames if f"{os.sep}lutbench{os.sep}" in each.filename]
    last = ours[-1] if ours else frames[-1]
    room = Path(last.filename).parent.name
    return f"{type(error).__name__} in {room}/{Path(last.filename).name}:{last.name}"
