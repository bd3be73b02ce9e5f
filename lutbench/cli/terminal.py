"""What is shown on a terminal: text, a table line by line, a status line."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lutbench import long_work
from lutbench.given import STEERING, harmless

if TYPE_CHECKING:
    from rich.console import Console
    from rich.segment import Segment

MOST_NAME_CELLS = 32
"""Widest column of names, in character cells; longer names are folded."""


@dataclass(frozen=True)
class Column:
    """A column after the name; without a width it shares the rest of the screen."""

    head: str
    width: int = 0
    number: bool = False


class Lines:
    """A table printed line by line; its column widths are fixed at the start.

    Parameters
    ----------
    first
        The heading of the column of names.
    names
        All names that will be printed.
    columns
        The columns after it; their cells are rich markup.
    """

    def __init__(self, first: str, names: Sequence[str], columns: Sequence[Column]) -> None:
        from rich.cells import cell_len

        from lutbench.cli.tables import LEAST_COLUMN_CELLS

        self.screen = console(markup=True)
        name = min(max(map(cell_len, (first, *names))), MOST_NAME_CELLS)
        wide = sum(not each.width for each in columns)
        left = self.screen.width - name - sum(each.width for each in columns) - len(columns)
        self._stacked = left < LEAST_COLUMN_CELLS * wide
        share = max(LEAST_COLUMN_CELLS, left // max(wide, 1))
        self._columns = [
            Column(first, name),
            *(Column(each.head, each.width or share, each.number) for each in columns),
        ]
        if not self._stacked:
            self._print([f"[bold]{each.head}[/bold]" for each in self._columns])
            self._print(["─" * each.width for each in self._columns])

    def print(self, name: str, cells: Sequence[str]) -> None:
        """Print the line of one file; a single cell takes the width of all columns."""
        from rich.markup import escape

        if self._stacked:
            self._print_below(escape(name), cells)
        else:
            self._print([escape(name), *cells])

    def _print_below(self, name: str, cells: Sequence[str]) -> None:
        """Print what is known of one file below its name, as a narrow screen has no columns."""
        from rich.padding import Padding

        self.screen.print(f"[bold]{name}[/bold]", soft_wrap=True)
        heads = [f"{each.head}: " for each in self._columns[1:]] if len(cells) > 1 else [""]
        pairs = [f"{head}{cell}" for head, cell in zip(heads, cells, strict=True) if cell]
        self.screen.print(Padding("; ".join(pairs), (0, 0, 0, 2)))

    def _print(self, cells: Sequence[str]) -> None:
        from rich.table import Table

        line = Table(box=None, show_header=False, padding=(0, 1, 0, 0), pad_edge=False)
        columns = self._columns
        if len(cells) == 2 < len(columns):
            rest = columns[1:]
            columns = [columns[0], Column("", sum(each.width + 1 for each in rest) - 1)]
        for each in columns:
            line.add_column(
                width=each.width, overflow="fold", justify="right" if each.number else "left"
            )
        line.add_row(*cells)
        self.screen.print(line)


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


USUAL_COLUMNS = 100
"""Columns of output into a file or a pipe where there is no terminal to take the width from."""


LEAST_COLUMNS = 40
"""Smallest width in columns that is used: narrower tables cannot be read."""


def piped_width() -> int:
    """Columns of output into a pipe or a file: those of the user's terminal.

    Taken from the variable COLUMNS, else from the terminal that standard error or standard
    input is connected to; 100 where there is no terminal.
    """
    text = os.environ.get("COLUMNS", "")
    if text.isdigit() and int(text) >= LEAST_COLUMNS:
        return int(text)
    for stream in (2, 0):
        try:
            columns = os.get_terminal_size(stream).columns
        except (OSError, ValueError):
            continue
        if columns >= LEAST_COLUMNS:
            return columns
    return USUAL_COLUMNS


def console(*, stderr: bool = False, markup: bool = False) -> Console:
    """A rich console that respects NO_COLOR and is as wide as the terminal, also into a pipe.

    Square brackets are plain text unless `markup` is set; then each name from outside must
    be escaped. Characters that control a terminal are never printed.
    """
    from rich.console import Console
    from rich.segment import Segment

    class Screen(Console):
        def render(self, *args: Any, **options: Any) -> Iterable[Segment]:
            for segment in super().render(*args, **options):
                plain = segment.control or not STEERING.search(segment.text)
                yield segment if plain else Segment(harmless(segment.text), segment.style)

        def on_broken_pipe(self) -> None:
            # rich would exit with status 1, which means that a check failed.
            raise BrokenPipeError

    long_work.clear()
    screen = Screen(stderr=stderr, highlight=False, markup=markup)
    if not screen.is_terminal:
        screen = Screen(stderr=stderr, highlight=False, markup=markup, width=piped_width())
    return screen
