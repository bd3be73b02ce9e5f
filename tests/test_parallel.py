"""Work on many items: the same order and results by one process, by several, and when one dies."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest

from lutbench.errors import LutbenchError
from lutbench.long_work import ONE_THREAD, QUEUED_PER_PROCESS, Workers, run_parallel


def squared(number: int, most: Any) -> tuple[int, int]:
    """The square, and the process that found it; the first is the slowest."""
    if number == 13:
        os._exit(9)
    if number > most:
        raise LutbenchError(f"{number} is over {most}")
    time.sleep(0.1 if number == 0 else 0.0)
    return number**2, os.getpid()


def threads(name: str, _: Any) -> str | None:
    return os.environ.get(name)


@pytest.mark.parametrize("jobs", [1, 2])
def test_results_come_in_the_order_of_the_items(jobs: int) -> None:
    found = list(run_parallel(squared, range(12), 99, Workers(jobs)))
    assert [done.item for done in found] == list(range(12))
    assert [done.value[0] for done in found if done.value] == [n**2 for n in range(12)]
    processes = {done.value[1] for done in found if done.value}
    assert (os.getpid() in processes) == (jobs == 1)
    assert len(processes) <= jobs


def test_a_process_that_dies_takes_its_item_only() -> None:
    found = list(run_parallel(squared, [*range(10, 30)], 99, Workers(2)))
    assert [done.item for done in found] == list(range(10, 30))
    for done in found:
        if done.item == 13:
            assert (done.value, done.error) == (None, "the process that was working on it died")
        else:
            assert done.value is not None
            assert done.value[0] == done.item**2


def test_what_is_raised_elsewhere_is_raised_here() -> None:
    with pytest.raises(LutbenchError, match="5 is over 4"):
        list(run_parallel(squared, range(8), 4, Workers(2)))


def test_each_process_has_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ONE_THREAD:
        monkeypatch.delenv(name, raising=False)
    assert [done.value for done in run_parallel(threads, ONE_THREAD, None, Workers(2))] == ["1"] * 4


def noted(number: int, folder: str) -> int:
    (Path(folder) / str(number)).touch()
    return number


def test_no_more_is_done_than_is_asked_for(tmp_path: Path) -> None:
    """Results that nobody takes would fill the memory: the processes wait for the reader."""
    found = run_parallel(noted, range(200), str(tmp_path), Workers(2))
    for _ in range(3):
        next(found)
    time.sleep(0.5)
    assert len(list(tmp_path.iterdir())) <= 3 + 2 * QUEUED_PER_PROCESS
    found.close()
