"""A short queue between two threads; an error in either stops both."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

_QUEUED = 3
"""Items that may wait between two threads: enough to smooth out slow frames, little memory."""


class Line:
    """A queue of a few items from one thread to the next; an error in either stops both."""

    def __init__(self) -> None:
        self._queue: queue.Queue[Any] = queue.Queue(_QUEUED)
        self._broken = threading.Event()

    def put(self, thing: Any) -> None:
        """Add an item, waiting for space; raises `_Broken` when the reader has stopped."""
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
        """Stop the threads on both sides."""
        self._broken.set()


@dataclass(frozen=True)
class _End:
    error: BaseException | None = None


class _Broken(Exception):
    """The other thread has stopped, and raises its own error."""


def pump(make: Callable[[], Iterator[Any]], line: Line) -> threading.Thread:
    """Start a thread that puts the items of `make` on the line, then its end or its error."""

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
