"""One call for each of many items: here, on all cores, or on a Dask cluster.

Results come in the order of the items, each as soon as those before it are done, and
none is kept: a thousand items take no more memory than a few.
"""

from __future__ import annotations

import logging
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, TypeVar

from lutbench.cluster import Done, each_on_cluster

Item = TypeVar("Item")
Value = TypeVar("Value")

AHEAD = 4
"""Items that wait for each process, so that none stands idle."""

ONE_THREAD = ("LUTBENCH_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Set to 1 in each process: the processes are the cores' work already."""


@dataclass(frozen=True)
class Hands:
    """Who does the work.

    Parameters
    ----------
    jobs
        Processes at once on this machine; with one the work is done in this process.
    scheduler
        The address of a Dask scheduler whose workers do it, in their place: they must
        see the files under the same paths.
    """

    jobs: int = 1
    scheduler: str | None = None


def worked(
    function: Callable[[Item, Any], Value], items: Sequence[Item], shared: Any, hands: Hands
) -> Iterator[Done[Item, Value]]:
    """What ``function(item, shared)`` gives for each item, in the order of `items`.

    Parameters
    ----------
    function
        Defined in a module, so that other processes find it by its name.
    items, shared
        What pickle can carry.

    Yields
    ------
    Done
        The value; or, of an item whose process or worker died, why there is none.

    Raises
    ------
    Exception
        What `function` raises in this process or in another of this machine.
    LutbenchError
        When no scheduler or worker answers.
    """
    if hands.scheduler is not None:
        yield from _in_order(each_on_cluster(function, items, hands.scheduler, shared=shared))
    elif hands.jobs > 1 and len(items) > 1:
        yield from _in_processes(function, items, shared, min(hands.jobs, len(items)))
    else:
        for item in items:
            yield Done(item, function(item, shared))


def _in_order(found: Iterable[tuple[int, Done[Item, Value]]]) -> Iterator[Done[Item, Value]]:
    """Results by their number, each held back until all before it are there."""
    waiting: dict[int, Done[Item, Value]] = {}
    turn = 0
    for index, done in found:
        waiting[index] = done
        while turn in waiting:
            yield waiting.pop(turn)
            turn += 1


def _in_processes(
    function: Callable[[Item, Any], Value], items: Sequence[Item], shared: Any, jobs: int
) -> Iterator[Done[Item, Value]]:
    left = deque(items)
    while left:
        yield from _by_a_pool(function, left, shared, jobs)
        if left:
            # A process died, and with it the pool. Whose fault it was shows one by one.
            for item in [left.popleft() for _ in range(min(len(left), jobs * AHEAD))]:
                alone = deque([item])
                yield from _by_a_pool(function, alone, shared, 1)
                if alone:
                    yield Done(item, None, "the process that worked on it died")


def _by_a_pool(
    function: Callable[[Item, Any], Value], left: deque[Item], shared: Any, jobs: int
) -> Iterator[Done[Item, Value]]:
    """Take items from `left` as they are done; what a pool that broke did not do stays there."""
    # Fresh processes: threads of compiled kernels do not survive a fork.
    pool = ProcessPoolExecutor(jobs, get_context("spawn"), _begin)
    under_work: deque[Future[Value]] = deque()
    try:
        with suppress(BrokenProcessPool):
            while left:
                while len(under_work) < min(len(left), jobs * AHEAD):
                    under_work.append(pool.submit(function, left[len(under_work)], shared))
                value = under_work.popleft().result()
                yield Done(left.popleft(), value)
    finally:
        pool.shutdown(cancel_futures=True)


def _begin() -> None:
    """In a new process, before numpy is there: one thread, no notes, deaf to an interrupt.

    The process that started it hears the interrupt, and has given the notes.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    logging.getLogger("lutbench").addHandler(logging.NullHandler())
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
