"""``lutbench list tones`` and ``lutbench list mappings``: parts by name, with their settings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from lutbench.cli.terminal import console

if TYPE_CHECKING:
    from lutbench.model.listing import MappingEntry, ToneEntry

LIGHT_WORDS = {"display": "display, cd/m²", None: "scene or display, as source and target require"}


def print_parts(what: str, rows: Sequence[ToneEntry | MappingEntry]) -> None:
    """Print each part with its settings, their defaults and limits."""
    from rich.padding import Padding

    from lutbench.cli.tables import FittedTable
    from lutbench.model.listing import ToneEntry

    screen = console()
    for row in rows:
        light = f" (light: {LIGHT_WORDS[row.light]})" if isinstance(row, ToneEntry) else ""
        screen.print(f"{row.name}: {row.says}{light}", soft_wrap=True)
        table = FittedTable(box=None, pad_edge=False, show_header=False)
        for width in (14, 22, None):
            table.add_column(min_width=width, overflow="fold")
        for each in row.settings:
            table.add_row(each.name, _plain(each.default), each.range_words)
        if row.settings:
            screen.print(Padding(table, (0, 0, 0, 4)))
    key = {"tones": "tone", "mappings": "gamut"}[what]
    fitted = ' Peaks, whites and "above" are fitted to source and target unless you give them.'
    screen.print(
        f"\nEach is shown with its settings, their defaults and limits. In a recipe: [{key}] with "
        f'method = "NAME"; as an option: --{key} "NAME setting=value".'
        + (fitted if what == "tones" else ""),
        style="dim",
    )


def _plain(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"{each:g}" for each in value)
    return f"{value:g}" if isinstance(value, int | float) else str(value)
