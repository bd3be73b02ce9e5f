"""How many threads work on pixels, and the one pool that they come from.

A call that moves pixels works in the thread that makes it, and is joined by
helpers from a pool that the whole process shares. The number of helpers falls
when several threads of the caller's own move pixels at the same time, so that
frames in parallel and pixels in parallel together never want more threads
than the limit.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from lutbench.errors import LutbenchError

VARIABLE = "LUTBENCH_THREADS"
MOST = 1024
"""Threads that may be asked for: no machine gains by more."""

_lock = threading.Lock()
_pool: ThreadPoolExecutor | None = None
_pool_size = 0  # threads of the pool now
_working = 0  # callers and helpers that move pixels now


def thread_limit(threads: int | None = None) -> int:
    """The number of threads to use: `threads`, else ``LUTBENCH_THREADS``, else the usable cores.

    Raises
    ------
    LutbenchError
        When the number is not a whole number from 1 to 1024.
    """
    if threads is None:
        text = os.environ.get(VARIABLE, "").strip()
        if not text:
            return _usable_cores()
        return _checked(text, VARIABLE)
    return _checked(threads, "threads")


def share(work: Callable[[int, int], object], total: int, chunk: int, threads: int) -> None:
    """Call ``work(start, stop)`` for 0..`total` in chunks, on at most `threads` threads.

    `work` must let go of the interpreter lock to gain anything. Which thread
    takes which chunk is left open; an error in one is raised here.
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
        for _ in starts:  # after an error or an interrupt the rest is nobody's
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
    """Count the caller in, and as many helpers as the limit leaves room for."""
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
    global _pool, _pool_size
    with _lock:
        if _pool is None or _pool_size < helpers:
            # The smaller pool is left to finish what it holds.
            if _pool is not None:
                _pool.shutdown(wait=False)
            _pool_size = max(helpers, _usable_cores() - 1)
            _pool = ThreadPoolExecutor(_pool_size, thread_name_prefix="lutbench")
        return _pool


def _forget_pool() -> None:
    """In a forked child the threads of the pool are gone."""
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


def _checked(value: int | str, where: str) -> int:
    try:
        number = int(value)
    except (TypeError, ValueError, OverflowError):
        number = 0
    if not 1 <= number <= MOST:
        raise LutbenchError(
            f"{value!r:.60} is not a number of threads", where=where, accepted=f"1 to {MOST}"
        )
    return number
