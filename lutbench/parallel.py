"""One call for each of many items: in this process, on all cores, or on a Dask cluster.

Results come in the order of the items, each as soon as it and those before it are finished.
None is kept: a thousand items take no more memory than a few.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import active_children, get_context
from multiprocessing.process import BaseProcess
from typing import Any, NoReturn, TypeVar

from lutbench.cluster import Done, each_on_cluster

Item = TypeVar("Item")
Value = TypeVar("Value")

QUEUED_PER_PROCESS = 4
"""Items queued for each process, so that none is idle while another's result is printed."""

GRACE = 0.5
"""Seconds in which a process that is told to end may remove what it has half written."""

ONE_THREAD = ("LUTBENCH_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Set to 1 in each process: there are as many processes as cores already."""


@dataclass(frozen=True)
class Workers:
    """What does the work."""

    jobs: int = 1
    """Number of processes on this machine; with 1 the work is done in this process."""
    scheduler: str | None = None
    """The address of a Dask scheduler, whose workers are used instead; they must see the files
    under the same paths."""


def run_parallel(
    function: Callable[[Item, Any], Value], items: Sequence[Item], shared: Any, workers: Workers
) -> Iterator[Done[Item, Value]]:
    """Yield what ``function(item, shared)`` returns for each item, in the order of `items`.

    Parameters
    ----------
    function
        Defined at the top of a module, so that other processes can import it.
    items, shared
        Objects that can be pickled.

    Yields
    ------
    Done
        The value; or the reason why there is none, where a process or worker died.

    Raises
    ------
    Exception
        What `function` raises in this or another process of this machine.
    LutbenchError
        When no scheduler or worker answers.
    """
    if workers.scheduler is not None:
        yield from _in_order(each_on_cluster(function, items, workers.scheduler, shared=shared))
    elif workers.jobs > 1 and len(items) > 1:
        yield from _in_processes(function, items, shared, min(workers.jobs, len(items)))
    else:
        for item in items:
            yield Done(item, function(item, shared))


def _in_order(found: Iterable[tuple[int, Done[Item, Value]]]) -> Iterator[Done[Item, Value]]:
    """Yield results in the order of their index, each held back until its turn."""
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
        yield from _in_pool(function, left, shared, jobs)
        if left:
            # A process died, and with it the pool: run the queued items singly to find the cause.
            for item in [left.popleft() for _ in range(min(len(left), jobs * QUEUED_PER_PROCESS))]:
                alone = deque([item])
                yield from _in_pool(function, alone, shared, 1)
                if alone:
                    yield Done(item, None, "the process that was working on it died")


def _in_pool(
    function: Callable[[Item, Any], Value], left: deque[Item], shared: Any, jobs: int
) -> Iterator[Done[Item, Value]]:
    """Take items from `left` as they finish; when the pool breaks, the rest stay there.

    After an interrupt, or when nobody wants the rest, the processes are ended at once.
    """
    others = set(active_children())
    # Not forked: the threads of compiled kernels do not survive a fork.
    pool = ProcessPoolExecutor(jobs, get_context("spawn"), _begin)
    queued: deque[Future[Value]] = deque()
    try:
        with suppress(BrokenProcessPool):
            while left:
                while len(queued) < min(len(left), jobs * QUEUED_PER_PROCESS):
                    with _interrupt_held_back():
                        queued.append(pool.submit(_work, function, left[len(queued)], shared))
                value = queued.popleft().result()
                yield Done(left.popleft(), value)
    except (KeyboardInterrupt, GeneratorExit):
        _end(set(active_children()) - others)
        raise
    finally:
        pool.shutdown(cancel_futures=True)


@contextmanager
def _interrupt_held_back() -> Iterator[None]:
    """Deliver an interrupt after the block; processes started in it never get one.

    A terminal sends it to all of them, but only the first is to say so.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end(processes: Iterable[BaseProcess]) -> None:
    """End processes: as they clean up for themselves, and after `GRACE` whatever they do."""
    for each in processes:
        each.terminate()
    until = time.monotonic() + GRACE
    for each in processes:
        each.join(max(0.0, until - time.monotonic()))
        each.kill()


def _begin() -> None:
    """Set up a new process before numpy is loaded: one thread, no log lines, no interrupt.

    The process that started it handles the interrupt, and has printed the log lines.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _stop)
    logging.getLogger("lutbench").addHandler(logging.NullHandler())
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")


def _stop(*signal_and_frame: Any) -> NoReturn:
    """End this process through the cleaning up of whatever it is doing."""
    sys.exit(1)


def _work(function: Callable[[Item, Any], Value], item: Item, shared: Any) -> Value:
    """``function(item, shared)`` in a process that may be told to end meanwhile."""
    try:
        return function(item, shared)
    except SystemExit:
        os._exit(1)  # or the pool would hand it the next item
