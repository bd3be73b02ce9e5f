"""Progress of long work, which the work itself reports to a listener.

The command line sets a listener that draws a line on a terminal. Without a listener `report`
does nothing, so any slow loop may call it.
"""

from __future__ import annotations

from collections.abc import Callable

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
