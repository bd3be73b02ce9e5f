"""The tables that commands print, and how they fit a narrow screen without losing a figure."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from typing import TYPE_CHECKING

from rich import box
from rich.measure import Measurement
from rich.table import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rich.console import Console, ConsoleOptions, RenderResult

WIDE_COLUMNS = 76
"""Columns of a terminal; in a narrower one tables have less in them, or narrower heads."""

GAP_CELLS = 1
"""Spaces between columns on a narrow screen, in character cells: the fewest that part them."""

LEAST_COLUMN_CELLS = 14
"""Narrowest column of words, in character cells: still readable when its words are folded."""


class FittedTable(Table):
    """A table whose figures are never cut off.

    Where its columns do not fit beside each other, the gaps and the columns of words shrink. Where
    they still do not fit, they are printed in parts, each with the first column.
    """

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        width = options.max_width
        if Measurement.get(console, options, self).maximum < width or not self.columns:
            yield from super().__rich_console__(console, options)
            return
        spans = [_span(console, options, column) for column in self.columns]
        parts = list(_parts(spans, width))
        for number, part in enumerate(parts):
            table = self._part(part, _widths([spans[each] for each in part], width))
            if number:
                table.title = None
                yield ""
            if number < len(parts) - 1:
                table.caption = None
            yield from Table.__rich_console__(table, console, options)

    def _part(self, part: Sequence[int], widths: Sequence[int]) -> FittedTable:
        """Some of the columns, each as wide as is said."""
        table = copy(self)
        # A box has a divider of one character between its columns, which is gap enough.
        table.padding = (0, 0 if self.box else GAP_CELLS, 0, 0)
        table.columns = [
            replace(
                self.columns[each],
                _index=index,
                width=width,
                no_wrap=False,
                min_width=None,
                max_width=None,
                ratio=None,
            )
            for index, (each, width) in enumerate(zip(part, widths, strict=True))
        ]
        return table


def plain_table(*heads: str) -> Table:
    """A table without lines; a head that begins with ``>`` is over numbers, set to the right."""
    table = FittedTable(box=None, pad_edge=False)
    for head in heads:
        if head.startswith(">"):
            table.add_column(head[1:], justify="right")
        else:
            table.add_column(head, overflow="fold")
    return table


def ruled_table(gap: int = 1) -> Table:
    """A table with a line under its heads, and `gap` spaces between its columns."""
    return FittedTable(box=box.SIMPLE_HEAD, padding=(0, gap, 0, 0), pad_edge=False, show_edge=False)


def fact_table(rows: Iterable[tuple[str, str]], style: str = "bold") -> Table:
    """Names in `style`, each with its text beside it."""
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(style=style, no_wrap=True)
    table.add_column(overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table


def _span(console: Console, options: ConsoleOptions, column: Column) -> tuple[int, int]:
    """The least width that cuts nothing off, and the greatest of use, in character cells."""
    heads = Measurement.get(console, options, column.header)
    cells = [Measurement.get(console, options, cell) for cell in column.cells]
    most = max(each.maximum for each in (heads, *cells))
    if column.no_wrap or column.justify == "right":  # a name in one piece, or a figure
        least = max(heads.minimum, *(each.maximum for each in cells), 1)
    else:
        least = max(each.minimum for each in (heads, *cells))
    if column.overflow == "fold":
        least = min(least, LEAST_COLUMN_CELLS)
    if column.max_width is not None:
        most = min(most, column.max_width)
    return min(least, most), most


def _parts(spans: Sequence[tuple[int, int]], width: int) -> Iterator[list[int]]:
    """The columns of each part: the first one, and as many of the others as fit beside it."""
    part, taken = [0], spans[0][0]
    for index, (least, _) in enumerate(spans[1:], 1):
        if taken + GAP_CELLS + least > width and len(part) > 1:
            yield part
            part, taken = [0], spans[0][0]
        part.append(index)
        taken += GAP_CELLS + least
    yield part


def _widths(spans: Sequence[tuple[int, int]], width: int) -> list[int]:
    """The widths of a part's columns; of what is left over, those that want least have it first."""
    widths = [least for least, _ in spans]
    spare = max(0, width - GAP_CELLS * (len(spans) - 1) - sum(widths))
    wanted = sorted((most - least, index) for index, (least, most) in enumerate(spans))
    for done, (more, index) in enumerate(wanted):
        given = min(more, spare // (len(spans) - done))
        widths[index] += given
        spare -= given
    return widths
