"""A table whose lines, one for each file, are printed as soon as they are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lutbench.cli.options import console

MOST_NAME = 32
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

        from lutbench.cli.tables import LEAST

        self.screen = console(markup=True)
        name = min(max(map(cell_len, (first, *names))), MOST_NAME)
        wide = sum(not each.width for each in columns)
        left = self.screen.width - name - sum(each.width for each in columns) - len(columns)
        self._stacked = left < LEAST * wide
        share = max(LEAST, left // max(wide, 1))
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
