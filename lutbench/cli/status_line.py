"""The line on a terminal that says what a long command is at."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable


class StatusLine:
    """A line on standard error that says what a long command is at, and for how long.

    It comes when the command has taken a second, and goes before anything else is printed.
    """

    AFTER, EVERY = 1.0, 0.2
    """Seconds from the start, and between two times that it is drawn."""

    def __init__(self, is_quiet: Callable[[], bool]) -> None:
        self._is_quiet = is_quiet
        self._began = time.monotonic()
        self._next = self._began + self.AFTER
        self._is_drawn = False

    def __call__(self, what: str, share: float | None) -> None:
        now = time.monotonic()
        if now < self._next or self._is_quiet():
            return
        self._next = now + self.EVERY
        done = "" if share is None else f" {share:4.0%}"
        sys.stderr.write(f"\r\x1b[2K{what}{done}, {now - self._began:.0f} s")
        sys.stderr.flush()
        self._is_drawn = True

    def clear(self) -> None:
        """Take the line away."""
        if self._is_drawn:
            self._is_drawn = False
            sys.stderr.write("\r\x1b[2K")
            sys.stderr.flush()
