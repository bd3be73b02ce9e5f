"""Work on a Dask cluster of two worker processes, one of them killed in the middle."""

from __future__ import annotations

import os
import re
import signal
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from distributed import LocalCluster

import lutbench
from lutbench import LutbenchError
from lutbench.cluster import Done, run_on_cluster


@pytest.fixture
def cluster(monkeypatch: pytest.MonkeyPatch) -> Iterator[LocalCluster]:
    tests = str(Path(__file__).parent)  # where a worker finds the functions of this module
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([tests, os.environ.get("PYTHONPATH", "")]))
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
    ) as running:
        yield running


def note_and_square(number: int, folder: str) -> int:
    """Leaves a file for each call that came to its end."""
    if number == 13:
        raise LutbenchError("thirteen is not served", where="item 13")
    time.sleep(0.05)
    (Path(folder) / f"{number}.{os.getpid()}.{time.monotonic_ns()}").touch()
    return number * number


def test_a_worker_killed_in_the_middle_loses_nothing(cluster: LocalCluster, tmp_path: Path) -> None:
    killed: list[int] = []

    def kill_one(_: Done[int, int]) -> None:
        seen.append(1)
        if len(seen) == 8:
            victim = Counter(int(each.name.split(".")[1]) for each in tmp_path.iterdir())
            pid = next(iter(victim))
            os.kill(pid, signal.SIGKILL)
            killed.append(pid)

    seen: list[int] = []
    items = list(range(40))
    done = run_on_cluster(
        note_and_square, items, cluster.scheduler_address, shared=str(tmp_path), on_done=kill_one
    )
    assert killed
    assert [each.item for each in done] == items
    assert len(seen) == len(items)
    for each in done:
        if each.item == 13:
            assert each.error == "item 13: thirteen is not served"
        else:
            assert (each.value, each.error) == (each.item**2, "")
    workers = {int(each.name.split(".")[1]) for each in tmp_path.iterdir()}
    assert len(workers) >= 2


def test_no_scheduler_is_said_in_one_line() -> None:
    with pytest.raises(LutbenchError, match=r"tcp://127\.0\.0\.1:9: no scheduler answers"):
        run_on_cluster(len, ["a"], "tcp://127.0.0.1:9", connect_seconds=0.5)
    with pytest.raises(LutbenchError, match="no scheduler answers"):
        run_on_cluster(len, ["a"], "nonsense://x", connect_seconds=0.5)


def one_line_of_trouble(number: int) -> int:
    """Fails in two lines, as libraries do."""
    raise RuntimeError(f"item {number}\nwent wrong")


def test_what_an_item_died_of_is_one_line(cluster: LocalCluster) -> None:
    (done,) = run_on_cluster(one_line_of_trouble, [7], cluster.scheduler_address)
    assert (done.value, done.error) == (None, "RuntimeError: item 7 went wrong")


def test_workers_of_another_version_are_refused(
    cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The workers are processes of their own: they keep the version that is installed."""
    told = f"a worker runs lutbench {lutbench.__version__}; accepted: 99.0"
    monkeypatch.setattr(lutbench, "__version__", "99.0")
    with pytest.raises(LutbenchError, match=re.escape(told)):
        run_on_cluster(len, ["a"], cluster.scheduler_address)


def test_a_scheduler_without_workers_is_said_so() -> None:
    with (
        LocalCluster(n_workers=0, processes=False, dashboard_address="127.0.0.1:0") as empty,
        pytest.raises(LutbenchError, match="the scheduler has no worker"),
    ):
        run_on_cluster(len, ["a"], empty.scheduler_address, connect_seconds=0.5)
