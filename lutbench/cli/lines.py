"""A table whose lines, one for each file, are printed as soon as they are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lutbench.cli.options import console

MOST_NAME = 32
"""Widest column of names, in character cells; longer names are folded."""

LEAST = 14
"""Narrowest column without a fixed width, in character cells: still readable when folded."""


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

        self.screen = console(markup=True)
        name = min(max(map(cell_len, (first, *names))), MOST_NAME)
        wide = sum(not each.width for each in columns)
        left = self.screen.width - name - sum(each.width for each in columns) - len(columns)
        share = max(LEAST, left // max(wide, 1))
        self._columns = [
            Column(first, name),
            *(Column(each.head, each.width or share, each.number) for each in columns),
        ]
        self._print([f"[bold]{each.head}[/bold]" for each in self._columns])
        self._print(["─" * each.width for each in self._columns])

    def print(self, name: str, cells: Sequence[str]) -> None:
        """Print the line of one file; a single cell takes the width of all columns."""
        from rich.markup import escape

        self._print([escape(name), *cells])

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
