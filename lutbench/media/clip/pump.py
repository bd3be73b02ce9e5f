"""Threads that hand things on: a short line between two of them, and errors both ways."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

_BETWEEN = 3  # things that may wait between two threads


class Line:
    """A few things on their way from one thread to the next; an error goes both ways."""

    def __init__(self) -> None:
        self._queue: queue.Queue[Any] = queue.Queue(_BETWEEN)
        self._broken = threading.Event()

    def put(self, thing: Any) -> None:
        """Hand on, or wait; raises `_Broken` when nobody will take it."""
        while not self._broken.is_set():
            try:
                self._queue.put(thing, timeout=0.1)
            except queue.Full:
                continue
            return
        raise _Broken

    def __iter__(self) -> Iterator[Any]:
        while not self._broken.is_set():
            try:
                thing = self._queue.get(timeout=0.1)
            except queue.Empty:
                continue
            if isinstance(thing, _End):
                if thing.error is not None:
                    raise thing.error
                return
            yield thing
        raise _Broken

    def close(self) -> None:
        """Nobody needs the rest: giver and taker may stop."""
        self._broken.set()


@dataclass(frozen=True)
class _End:
    error: BaseException | None = None


class _Broken(Exception):
    """The next thread has stopped, and says why itself."""


def pump(make: Callable[[], Iterator[Any]], line: Line) -> threading.Thread:
    """A thread that puts what `make` yields on the line, its end, and its error if it has one."""

    def run() -> None:
        try:
            for thing in make():
                line.put(thing)
            line.put(_End())
        except _Broken:
            pass
        except BaseException as error:
            with suppress(_Broken):
                line.put(_End(error))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return thread
