"""The tables that commands print."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.table import Table

WIDE = 76
"""Columns of a terminal; in a narrower one tables have less in them, or narrower heads."""


def plain_table(*heads: str) -> Table:
    """A table without lines; a head that begins with ``>`` is over numbers, set to the right."""
    from lutbench.cli.fitted import FittedTable

    table = FittedTable(box=None, pad_edge=False)
    for head in heads:
        if head.startswith(">"):
            table.add_column(head[1:], justify="right")
        else:
            table.add_column(head, overflow="fold")
    return table


def ruled_table(gap: int = 1) -> Table:
    """A table with a line under its heads, and `gap` spaces between its columns."""
    from rich import box

    from lutbench.cli.fitted import FittedTable

    return FittedTable(box=box.SIMPLE_HEAD, padding=(0, gap, 0, 0), pad_edge=False, show_edge=False)


def fact_table(rows: Iterable[tuple[str, str]], style: str = "bold") -> Table:
    """Names in `style`, each with its text beside it."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(style=style, no_wrap=True)
    table.add_column(overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table
