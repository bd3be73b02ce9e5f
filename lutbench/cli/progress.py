"""Progress on a terminal: what is done, frames a second, time left; silent elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from lutbench import underway
from lutbench.cli.options import is_quiet

if TYPE_CHECKING:
    from rich.console import Console


@contextmanager
def progress(what: str, total: int, screen: Console | None) -> Iterator[Callable[[], None]]:
    """A function to call when another of `total` files is done, which moves a bar.

    `screen` prints a line a file meanwhile: where that is a terminal, the bar stands below
    the lines; else on standard error, if that is one.
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

    def told(part: str, share: float | None) -> None:
        done = "" if share is None else f" {share:4.0%}"
        bar.update(task, description=f"{what}: {part}{done}")

    with bar, _listening(told):
        task = bar.add_task(what, total=total)
        yield lambda: bar.update(task, advance=1, description=what)


@contextmanager
def _listening(listener: underway.Listener | None) -> Iterator[None]:
    """A bar stands in place of the line."""
    underway.clear()
    before = underway.listen(listener)
    try:
        yield
    finally:
        underway.listen(before)


@contextmanager
def frame_progress(total: int | None, *, quiet: bool = False) -> Iterator[Callable[..., None]]:
    """A function to call with the number of frames done so far, and, once known, the total.

    The bar stands on standard error and leaves nothing behind; when standard
    error is no terminal, nothing is shown.

    Parameters
    ----------
    total
        How many frames there are, None where it is not known.
    """
    if quiet or is_quiet() or not sys.stderr.isatty():
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
    with bar, _listening(None):
        task = bar.add_task("frames", total=total, rate="")
        began = time.monotonic()
        first: list[int] = []

        def update(done: int, total: int | None = None) -> None:
            if not first:
                first.append(done)  # what a former run finished counts for the bar, not the rate
            passed = time.monotonic() - began
            rate = (done - first[0]) / passed if passed > 0.5 else 0.0
            text = f"{rate:.1f} frames/s" if rate else ""
            bar.update(task, completed=done, total=total, rate=text)

        yield update
