"""The compiled kernel lets other Python threads run, or a second thread would gain nothing."""

from __future__ import annotations

import threading
import time

import numpy as np

from lutbench.model.transforms import Pipeline
from lutbench.tables import kernels
from lutbench.tables.lut import Lut3D
from lutbench.tables.programs import plan, program

ATTEMPTS = 5
"""Attempts of which one has to succeed: a busy machine may stop any thread for a while."""


def _longest_wait_share() -> float:
    """How long a thread had to wait while another was in the kernel, as a share of its time."""
    number = np.dtype(np.float32)
    prepared = program(plan(Pipeline((Lut3D(Lut3D.identity(33).table ** 0.9),) * 12)), number)
    pixels = np.random.default_rng(2).random((1_000_000, 3), np.float32)
    kernel = kernels.runner(number)
    out = np.empty_like(pixels)
    places = kernels.where(pixels), kernels.where(out)
    spans: list[float] = []

    def work() -> None:
        begin = time.perf_counter()
        kernel(*places, prepared.ops, prepared.params, prepared.pool, 1.0, 0, len(pixels))
        spans.extend((begin, time.perf_counter()))

    worker = threading.Thread(target=work)
    ticks = [time.perf_counter()]
    worker.start()
    while worker.is_alive():
        ticks.append(time.perf_counter())
    begin, end = spans
    inside = np.array([begin, *(tick for tick in ticks if begin < tick < end), end])
    return float(np.diff(inside).max() / (end - begin))


def test_a_thread_runs_while_another_is_in_the_kernel() -> None:
    # With the interpreter's lock held, the wait is the whole of the kernel's time, and at most
    # one switch of threads (5 ms) comes after it.
    assert min(_longest_wait_share() for _ in range(ATTEMPTS)) < 0.5
