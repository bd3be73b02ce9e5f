"""The status line of a long command on a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable


class StatusLine:
    """A line on standard error that shows what a long command is doing, and for how long.

    It appears after a second, and is removed before anything else is printed.
    """

    AFTER = 1.0
    """Seconds before the line first appears: a short command does not need it."""

    EVERY = 0.2
    """Seconds between updates: often enough to look alive, rare enough to cost nothing."""

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
        done = "" if share is None else f" {100 * share:3.0f} %"
        sys.stderr.write(f"\r\x1b[2K{what}{done}, {now - self._began:.0f} s")
        sys.stderr.flush()
        self._is_drawn = True

    def clear(self) -> None:
        """Remove the line."""
        if self._is_drawn:
            self._is_drawn = False
            sys.stderr.write("\r\x1b[2K")
            sys.stderr.flush()
