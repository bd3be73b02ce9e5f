"""The number of threads that work on pixels, and the pool that they come from.

A call works in its own thread, with helpers from a pool that the whole process shares. If
several threads of the caller process pixels at the same time, each gets fewer helpers, so
that the total number of threads stays within the limit.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from lutbench.errors import LutbenchError
from lutbench.given import whole

VARIABLE = "LUTBENCH_THREADS"
MOST = 1024
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
        text = os.environ.get(VARIABLE, "").strip()
        if not text:
            return _usable_cores()
        return _parsed(text)
    return whole(threads, "threads", 1, MOST)


def share(work: Callable[[int, int], object], total: int, chunk: int, threads: int) -> None:
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
            f"{text!r:.60} is not a number of threads", where=VARIABLE, accepted=f"1 to {MOST}"
        ) from None
    return whole(number, VARIABLE, 1, MOST)
