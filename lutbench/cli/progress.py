"""Progress bars on a terminal: work done, frames per second, time left; elsewhere nothing."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from lutbench import long_work
from lutbench.cli.options import is_quiet

if TYPE_CHECKING:
    from rich.console import Console


@contextmanager
def progress(what: str, total: int, screen: Console | None) -> Iterator[Callable[[], None]]:
    """Yield a function that moves a bar, to be called when each of `total` files is done.

    `screen` prints a line for each file meanwhile. Where it is a terminal, the bar is below
    the lines; else it is on standard error, if that is a terminal.
    """
    own = screen is not None and screen.is_terminal
    if is_quiet() or not (own or sys.stderr.isatty()):
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=None),
        MofNCompleteColumn(),
        console=screen if own else Console(stderr=True),
        transient=True,
        redirect_stdout=False,  # which would send the report to the bar's own stream
        redirect_stderr=False,
    )

    def show(part: str, share: float | None) -> None:
        done = "" if share is None else f" {100 * share:3.0f} %"
        bar.update(task, description=f"{what}: {part}{done}")

    with bar, _listening(show):
        task = bar.add_task(what, total=total)
        yield lambda: bar.update(task, advance=1, description=what)


@contextmanager
def _listening(listener: long_work.Listener | None) -> Iterator[None]:
    """Report progress to the bar instead of the status line."""
    long_work.clear()
    before = long_work.set_listener(listener)
    try:
        yield
    finally:
        long_work.set_listener(before)


@contextmanager
def frame_progress(total: int | None) -> Iterator[Callable[..., None]]:
    """Yield a function to call with the number of frames done, and, once known, the total.

    The bar is on standard error and is removed at the end; nothing is shown where standard
    error is not a terminal.

    Parameters
    ----------
    total
        The number of frames, or None where it is not known.
    """
    if is_quiet() or not sys.stderr.isatty():
        yield lambda done, total=None: None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    bar = Progress(
        BarColumn(bar_width=None),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeElapsedColumn(),
        TextColumn("passed,"),
        TimeRemainingColumn(),
        TextColumn("left"),
        console=Console(stderr=True),
        transient=True,
    )

    def show(what: str, _share: float | None) -> None:
        bar.update(task, rate=what)

    with bar, _listening(show):
        task = bar.add_task("frames", total=total, rate="")
        began = time.monotonic()
        first: list[int] = []

        def update(done: int, total: int | None = None) -> None:
            if not first:
                first.append(done)  # frames of an earlier run count for the bar, not the rate
            passed = time.monotonic() - began
            rate = (done - first[0]) / passed if passed > 0.5 else 0.0
            text = f"{rate:.1f} frames/s" if rate else ""
            bar.update(task, completed=done, total=total, rate=text)

        yield update
