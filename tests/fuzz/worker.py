"""A process that reads hostile files, so that a crash of a library is seen and survived.

Requests and answers are pickles on stdin and stdout. Warnings count as faults:
a user would see them between the lines of the report.
"""

from __future__ import annotations

import os
import pickle
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path
from typing import Any

MEMORY = 1 << 30


def status(key: str) -> int:
    """A figure of /proc/self/status in bytes."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(f"{key}:"):
            return int(line.split()[1]) << 10
    raise KeyError(key)


def attempt(kind: str, path: Path) -> dict[str, Any]:
    """What became of one file: the outcome, its reason, seconds of CPU, the peak of memory.

    `memory` is the whole process's, `taken` what came on top for this file.
    """
    from targets import TARGETS

    from lutbench.errors import LutbenchError

    Path("/proc/self/clear_refs").write_text("5")  # the peak starts anew
    before, started = status("VmRSS"), time.process_time()
    outcome, reason, place = "read", "", ""
    try:
        TARGETS[kind][1](path)
    except LutbenchError as error:
        outcome, reason = "refused", str(error)
        if "\n" in reason or not reason:
            outcome, place = "fault", "message of more than one line"
    except BaseException as error:
        frames = [
            each
            for each in traceback.extract_tb(error.__traceback__)
            if f"{os.sep}lutbench{os.sep}" in each.filename
        ]
        last = frames[-1] if frames else traceback.extract_tb(error.__traceback__)[-1]
        outcome, reason = "fault", "".join(traceback.format_exception(error))
        place = f"{type(error).__name__} in {Path(last.filename).name}:{last.name}"
    return {
        "outcome": outcome,
        "reason": reason,
        "place": place,
        "seconds": time.process_time() - started,
        "memory": status("VmHWM"),
        "taken": status("VmHWM") - before,
    }


def limit_memory() -> None:
    """No more than `MEMORY` on top of what there is.

    Of address space, so that asking for too much fails at once rather than when it is touched.
    """
    resource.setrlimit(resource.RLIMIT_AS, (status("VmSize") + MEMORY, resource.RLIM_INFINITY))


def main() -> None:
    """Answer requests until stdin ends."""
    # Answers go to a copy of stdout: what a library prints must not mix with them.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    requests = sys.stdin.buffer
    import seeds
    from targets import TARGETS

    folder = Path(tempfile.mkdtemp(prefix="lutbench-fuzz-"))
    seeds.neighbours(folder)
    for kind, whole in seeds.seeds().items():  # imports and compiles what will be needed
        path = folder / f"warm{TARGETS[kind][0]}"
        for data in whole:
            path.write_bytes(data)
            result = attempt(kind, path)
            assert result["outcome"] == "read", (kind, result["reason"])
    warnings.simplefilter("error")
    limit_memory()
    pickle.dump({"outcome": "ready", "memory": status("VmRSS")}, answers)
    answers.flush()
    while True:
        try:
            kind, data = pickle.load(requests)
        except EOFError:
            break
        path = folder / f"in{TARGETS[kind][0]}"
        path.write_bytes(data)
        pickle.dump(attempt(kind, path), answers)
        answers.flush()
    answers.close()
    shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
