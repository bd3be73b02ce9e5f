"""What long work is at: told by the work itself, to whoever listens.

The command line listens and draws a line on a terminal. Without a listener `tell` does
nothing, so that it may stand in any loop that takes its time.
"""

from __future__ import annotations

from collections.abc import Callable

Listener = Callable[[str, float | None], None]

_listener: Listener | None = None


def tell(what: str, share: float | None = None) -> None:
    """Say what is being done, and the share of it that is done (0 to 1) where it is known."""
    if _listener is not None:
        _listener(what, share)


def listen(listener: Listener | None) -> Listener | None:
    """Have `listener` called with what is told; None ends it. The one before is returned."""
    global _listener
    before, _listener = _listener, listener
    return before


def clear() -> None:
    """Have a listener that draws take away what it drew, before something else is printed."""
    wipe = getattr(_listener, "clear", None)
    if wipe is not None:
        wipe()
