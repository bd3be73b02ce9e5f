"""``lutbench list``: the curves, gamuts, tones and gamut mappings that are known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import catalogue_of, definitions_option, json_option, print_json
from lutbench.cli.terminal import console

if TYPE_CHECKING:
    from lutbench.model.light import Light
    from lutbench.model.listing import CurveEntry, GamutEntry, MappingEntry, ToneEntry


@click.command()
@click.argument("what", type=click.Choice(["curves", "gamuts", "tones", "mappings"]))
@click.option(
    "--long", is_flag=True, help="Print each gamut on a line, with its primaries and white."
)
@definitions_option
@json_option
def command(what: str, long: bool, definitions: tuple[str, ...], as_json: bool) -> None:
    """List the names that other commands take: curves and gamuts (standard, your own,
    registered), tones, and mappings of colours outside a gamut.

    A curve shows its family, the signal of mid grey (18 %) in percent of full
    range, and how many stops over mid grey it clips. A registered curve that
    cannot be used is listed with the reason. Tones and mappings show their
    settings, with defaults and limits. Gamuts are grouped by origin.

    \b
    Example:
      lutbench list curves
      lutbench list tones
    """
    if what in ("tones", "mappings"):
        from lutbench.cli.list import print_parts
        from lutbench.model.listing import mapping_entries, tone_entries

        parts = tone_entries() if what == "tones" else mapping_entries()
        if as_json:
            print_json({what: [each.to_data() for each in parts]})
        else:
            print_parts(what, parts)
        return
    from lutbench.model.listing import CurveEntry, GamutEntry

    catalogue = catalogue_of(definitions)
    curves, gamuts = [], []
    if what == "curves":
        curves = [CurveEntry.of(entry) for entry in catalogue.curves(exact=False)]
    else:
        gamuts = [GamutEntry.of(entry) for entry in catalogue.gamuts()]
    if as_json:
        print_json({what: [each.to_data() for each in (*curves, *gamuts)]})
    elif what == "curves":
        _print_curves(curves)
    elif long:
        _print_gamuts(gamuts)
    else:
        _print_gamut_names(gamuts)


def _light_words(light: Light) -> str:
    """Scene or display light, and what 1.0 is where that is not the usual value."""
    if light.luminance is not None:
        return f"{light.side}, 1.0 at {light.luminance:g} cd/m²"
    if light.one in ("a perfect white diffuser", "the display's white"):
        return str(light.side)
    at = light.one if light.one.startswith("at ") else "is the peak"
    return f"{light.side}, 1.0 {at}"


def _print_curves(rows: list[CurveEntry]) -> None:
    from lutbench.cli.tables import plain_table

    heads = ("curve", "family", "from", "codes", "light", ">mid grey\n%", ">clips at\nstops")
    table = plain_table(*heads)
    table.add_column("also named", overflow="fold", style="dim")
    for row in rows:
        if row.light is not None and row.mid_grey_signal is not None:
            levels = (f"{100 * row.mid_grey_signal:.1f}", f"{row.clip_stops:+.1f}")
            light, names = _light_words(row.light), ", ".join(row.aliases)
            table.add_row(row.name, row.family, row.origin, row.codes, light, *levels, names)
    screen = console()
    screen.print(table)
    screen.print(
        "\ncodes: the code values that the source publishes, full-range or legal. light: of the "
        "scene, 1.0 is a perfect white diffuser; of the display, 1.0 is its white.",
        style="dim",
    )
    if falling := [row for row in rows if row.falls]:
        screen.print("\nusable, but not rising everywhere", style="bold")
        for row in falling:
            screen.print(f"{row.name}: {row.falls}", markup=False, soft_wrap=True)
    unusable = [row for row in rows if not row.usable]
    if unusable:
        screen.print("\nnot usable", style="bold")
        for row in unusable:
            screen.print(f"{row.name}: {row.reason}", markup=False, soft_wrap=True)


def _print_gamuts(rows: list[GamutEntry]) -> None:
    from lutbench.cli.tables import plain_table

    table = plain_table("gamut", "from")
    for head in ("red xy", "green xy", "blue xy", "white xy"):
        table.add_column(head, no_wrap=True)
    table.add_column("also named", overflow="fold", style="dim")
    for row in rows:
        points = (f"{x:.3f} {y:.3f}" for x, y in (*row.primaries, row.white))
        table.add_row(row.name, row.origin, *points, ", ".join(row.aliases))
    console().print(table)


def _print_gamut_names(rows: list[GamutEntry]) -> None:
    """Print the names only, grouped by origin."""
    from rich.padding import Padding

    screen = console()
    origins = list(dict.fromkeys(row.origin for row in rows))
    for origin in origins:
        names = [row.name for row in rows if row.origin == origin]
        screen.print(f"{origin}: {len(names)}", style="bold")
        screen.print(Padding("; ".join(names), (0, 0, 1, 2)))
    screen.print("--long shows primaries, white and other names.", style="dim")


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
