"""Long work: in threads, in processes or on a Dask cluster, and how far it is.

Threads work on pixels. A call works in its own thread, with helpers from a pool that the whole
process shares. If several threads of the caller process pixels at the same time, each gets fewer
helpers, so that the total number of threads stays within the limit.

Processes or a cluster make one call for each of many items. Results come in the order of the items,
each as soon as it and those before it are finished. None is kept: a thousand items take no more
memory than a few.

Progress is reported to a listener: the command line sets one that draws a line on a terminal.
Without a listener `report` does nothing, so any slow loop may call it.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from lutbench.errors import LutbenchError
from lutbench.given import whole

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor
    from multiprocessing.process import BaseProcess

    from lutbench.cluster import Done

Item = TypeVar("Item")
Value = TypeVar("Value")

QUEUED_PER_PROCESS = 4
"""Items queued for each process, so that none is idle while another's result is printed."""

GRACE_SECONDS = 0.5
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
    from lutbench.cluster import Done, each_on_cluster

    if workers.scheduler is not None:
        yield from _in_order(each_on_cluster(function, items, workers.scheduler, shared=shared))
    elif workers.jobs > 1 and len(items) > 1:
        for found in _in_processes(function, items, shared, min(workers.jobs, len(items))):
            yield Done(*found)
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
) -> Iterator[tuple[Item, Value | None, str]]:
    """Yield each item with its value, or with the reason why there is none."""
    left = deque(items)
    while left:
        yield from _in_pool(function, left, shared, jobs)
        if left:
            # A process died, and with it the pool: run the queued items singly to find the cause.
            for item in [left.popleft() for _ in range(min(len(left), jobs * QUEUED_PER_PROCESS))]:
                alone = deque([item])
                yield from _in_pool(function, alone, shared, 1)
                if alone:
                    yield item, None, "the process that was working on it died"


def _in_pool(
    function: Callable[[Item, Any], Value], left: deque[Item], shared: Any, jobs: int
) -> Iterator[tuple[Item, Value | None, str]]:
    """Take items from `left` as they finish; when the pool breaks, the rest stay there.

    After an interrupt, or when nobody wants the rest, the processes are ended at once.
    """
    from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor
    from multiprocessing import active_children, get_context

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
                yield left.popleft(), value, ""
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
    """End processes: as they clean up, and after `GRACE_SECONDS` whatever they do."""
    for each in processes:
        each.terminate()
    until = time.monotonic() + GRACE_SECONDS
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


Listener = Callable[[str, float | None], None]

_listener: Listener | None = None


def report(what: str, share: float | None = None) -> None:
    """Report what is being done, and the share that is finished (0 to 1) where it is known."""
    if _listener is not None:
        _listener(what, share)


def set_listener(listener: Listener | None) -> Listener | None:
    """Have `listener` called with each report, or nothing for None; returns the previous one."""
    global _listener
    before, _listener = _listener, listener
    return before


def clear() -> None:
    """Remove what the listener has drawn, before something else is printed."""
    remove = getattr(_listener, "clear", None)
    if remove is not None:
        remove()


THREADS_VARIABLE = "LUTBENCH_THREADS"
MOST_THREADS = 1024
"""Largest number of threads: no machine gains from more."""

_lock = threading.Lock()
_pool: ThreadPoolExecutor | None = None
_pool_size = 0  # threads of the pool at present
_working = 0  # callers and helpers that process pixels at present


def thread_limit(threads: int | None = None) -> int:
    """The number of threads to use: `threads`, else ``LUTBENCH_THREADS``, else the usable cores.

    Raises LutbenchError when the number is not a whole number from 1 to 1024.
    """
    if threads is None:
        text = os.environ.get(THREADS_VARIABLE, "").strip()
        if not text:
            return _usable_cores()
        return _parsed(text)
    return whole(threads, "threads", 1, MOST_THREADS)


def parallel_for(work: Callable[[int, int], object], total: int, chunk: int, threads: int) -> None:
    """Call ``work(start, stop)`` for 0..`total` in chunks, on at most `threads` threads.

    `work` must release the interpreter lock for a gain in speed. Any thread may process any
    chunk; an error in one is raised here.
    """
    chunks = -(-total // chunk)
    helpers = _reserve(min(threads, chunks) - 1, threads) if chunks > 1 else _reserve(0, threads)
    starts = iter(range(0, total, chunk))  # next() on it is atomic under the interpreter lock

    def run() -> None:
        for start in starts:
            work(start, min(start + chunk, total))

    def help_out() -> None:
        try:
            run()
        finally:
            _release(1)

    jobs: list[Future[None]] = []
    if helpers:
        pool = _shared_pool(helpers)
        jobs = [pool.submit(help_out) for _ in range(helpers)]
    try:
        run()
    finally:
        for _ in starts:  # after an error or an interruption the other chunks are dropped
            pass
        for job in jobs:
            # A helper that never started has nothing left to do.
            if job.cancel():
                _release(1)
        _release(1)
    for job in jobs:
        if not job.cancelled():
            job.result()


def _reserve(wanted: int, limit: int) -> int:
    """The number of helpers that the limit allows; they and the caller are counted as working."""
    global _working
    with _lock:
        helpers = max(0, min(wanted, limit - 1 - _working))
        _working += 1 + helpers
    return helpers


def _release(count: int) -> None:
    global _working
    with _lock:
        _working -= count


def _shared_pool(helpers: int) -> ThreadPoolExecutor:
    from concurrent.futures import ThreadPoolExecutor

    global _pool, _pool_size
    with _lock:
        if _pool is None or _pool_size < helpers:
            # The smaller pool may finish its work.
            if _pool is not None:
                _pool.shutdown(wait=False)
            _pool_size = max(helpers, _usable_cores() - 1)
            _pool = ThreadPoolExecutor(_pool_size, thread_name_prefix="lutbench")
        return _pool


def _forget_pool() -> None:
    """Reset the pool in a forked child, where its threads do not exist."""
    global _lock, _pool, _pool_size, _working
    _lock = threading.Lock()
    _pool = None
    _pool_size = 0
    _working = 0


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget_pool)


def _usable_cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _parsed(text: str) -> int:
    try:
        number = int(text)
    except ValueError:
        raise LutbenchError(
            f"{text!r:.60} is not a number of threads",
            where=THREADS_VARIABLE,
            accepted=f"1 to {MOST_THREADS}",
        ) from None
    return whole(number, THREADS_VARIABLE, 1, MOST_THREADS)
