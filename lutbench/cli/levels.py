"""``lutbench levels``: where light lands on a curve, and what a LUT makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    LutRanges,
    catalogue_of,
    console,
    definitions_option,
    force_option,
    gathered,
    json_option,
    print_json,
    range_options,
)
from lutbench.cli.saying import say
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from rich.table import Table

    from lutbench.exposure.levels import Levels
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.curves.base import Curve
    from lutbench.model.signal import Range
    from lutbench.model.transforms import Transform


@dataclass(frozen=True)
class ZebraOptions:
    """What the camera's zebra and its meter are set to."""

    zebra_min: float
    zebra_step: float
    over_exposure: float | None


@dataclass(frozen=True)
class Printing:
    """In which form the levels are given."""

    as_csv: bool
    cards: tuple[str, ...]
    as_json: bool
    force: bool


@click.command()
@click.option(
    "--curve",
    metavar="NAME",
    help="The curve that the camera records: see `lutbench list curves`. [default: what the "
    "comments of the LUT say]",
)
@click.option("--lut", metavar="FILE", help="A LUT: adds what comes out of it.")
@click.option(
    "--zebra-min",
    type=float,
    default=0.0,
    metavar="PERCENT",
    help="The lowest zebra setting the camera offers. [default: no lower end]",
)
@click.option(
    "--zebra-step",
    type=float,
    default=5.0,
    show_default=True,
    metavar="PERCENT",
    help="The steps of the camera's zebra setting.",
)
@click.option(
    "--over-exposure",
    type=float,
    metavar="STOPS",
    help="Stops that a meter shows too many: says which neutral density brings them back.",
)
@range_options
@click.option("--csv", "as_csv", is_flag=True, help="Print the table as CSV.")
@click.option(
    "--card",
    "cards",
    multiple=True,
    metavar="OUT",
    help="Write a one-page card to take on set: OUT.html or OUT.png. May be given more than once.",
)
@definitions_option
@json_option
@force_option
@gathered(zebra=ZebraOptions, ranges=LutRanges, printing=Printing)
def command(
    curve: str | None,
    lut: str | None,
    zebra: ZebraOptions,
    ranges: LutRanges,
    printing: Printing,
    definitions: tuple[str, ...],
) -> None:
    """Show where grey, skin, white and each stop lie on a curve, and after a LUT.

    Codes are given for a signal recorded in full range and in legal range: the
    same code is not the same signal in both. Look into the camera's manual for
    which one it records. Percent is percent of the range that is recorded.

    \b
    Example:
      lutbench levels --curve "BT.2100 HLG" --zebra-min 50
      lutbench levels --curve ACEScct --card levels.html
      lutbench levels --lut day.cube
    """
    import lutbench
    from lutbench.exposure.levels import levels

    if printing.as_csv and printing.as_json:
        raise LutbenchError("--csv and --json cannot both be printed", accepted="one of them")
    _check_cards(printing.cards)
    opened = None if lut is None else lutbench.open_lut(lut)
    recorded, told = _recorded(curve, lut, opened, catalogue_of(definitions))
    day = levels(
        recorded,
        opened,
        lut_name="" if lut is None else Path(lut).name,
        **{**told, **{name: value for name, value in vars(ranges).items() if value}},
        **vars(zebra),
    )
    for card in printing.cards:
        from lutbench.report.card import write_card

        write_card(day, card, force=printing.force)
        say(f"{card}: card written")
    if printing.as_json:
        print_json(day.to_data())
    elif printing.as_csv:
        from lutbench.exposure.csv_table import csv_text

        click.echo(csv_text(day), nl=False)
    else:
        _print(day)


def _recorded(
    curve: str | None, lut: str | None, opened: Transform | None, catalogue: Catalogue
) -> tuple[Curve, dict[str, Range]]:
    """The curve of the recording and the LUT's ranges, where its comments tell them."""
    if curve is not None:
        return catalogue.curve(curve, where="--curve"), {}
    from lutbench.inspection.told import told_ends

    told = told_ends(getattr(opened, "comments", ()))
    if "source" not in told:
        what = "no curve is named" if lut is None else "the LUT's comments name no curve"
        raise LutbenchError(what, where=lut or "", accepted="--curve NAME")
    found = catalogue.curve(told["source"].curve, where=f"{lut}, its comments")
    say(f"curve {found.name}, as the comments of {lut} say")
    ranges: dict[str, Range] = {f"{end}_range": each.range for end, each in told.items()}
    return found, ranges


def _check_cards(cards: tuple[str, ...]) -> None:
    for card in cards:
        if Path(card).suffix.lower() not in (".html", ".png"):
            raise LutbenchError(
                "is no card", where=card, accepted="a name that ends in .html, .png"
            )


def _print(day: Levels) -> None:
    from rich.markup import escape
    from rich.padding import Padding

    screen = console(markup=True)
    screen.print(f"[bold]Levels of {escape(day.curve.name)}[/bold]", soft_wrap=True)
    if day.curve.note:
        screen.print(f"[dim]{escape(day.curve.note)}[/dim]")
    if day.lut:
        ranges = f"takes {day.source_range}, gives {day.target_range} range"
        screen.print(f"through {escape(day.lut)} [dim]({ranges})[/dim]", soft_wrap=True)
    screen.print(day.range_note, soft_wrap=False, style="dim", markup=False)
    screen.print()
    screen.print(_table(day))
    for line in ends_lines(day):
        screen.print(line)
    screen.print("\n[bold]Zebra[/bold]" + zebra_offer(day))
    for advice in day.zebra.advice:
        screen.print(Padding(f"• {escape(advice.text)}", (0, 0, 0, 2)))
    screen.print(Padding(f"• marks from: {zebra_line(day)}", (0, 0, 0, 2)))
    screen.print("\n[bold]Neutral density[/bold] (0.3 a stop)")
    screen.print(Padding(density_line(), (0, 0, 0, 2)))
    if day.filter_choice:
        screen.print(Padding(f"• {day.filter_choice.text}", (0, 0, 0, 2)))


def zebra_offer(day: Levels) -> str:
    """What the camera is said to offer, as a short clause."""
    if day.zebra.minimum > 0:
        return f" (from {day.zebra.minimum:g} % in steps of {day.zebra.step:g} %)"
    return f" (steps of {day.zebra.step:g} %; say --zebra-min for the camera's lowest)"


def zebra_line(day: Levels) -> str:
    """What each zebra setting marks: the stops from which it shows."""
    from lutbench.exposure.levels import stops_of
    from lutbench.report.words import stops_words

    return (
        ", ".join(
            f"{each.percent:g} % {stops_words(stops_of(each.reflectance))}"
            for each in day.zebra.settings
        )
        + " stops"
    )


def density_line() -> str:
    """The filters with their stops, in one line."""
    from lutbench.exposure.levels import NEUTRAL_DENSITIES

    return ", ".join(f"{each.density:.1f} = {each.nominal_stops}" for each in NEUTRAL_DENSITIES)


def ends_lines(day: Levels) -> list[str]:
    """Where no light lies, and which light falls on 0 % and on 100 %, in words."""
    from lutbench.report.words import ends_words

    lines = [f"Recorded: {ends_words(day, after=False)}"]
    if day.after_ends:
        lines.append(f"After the LUT: {ends_words(day, after=True)}")
    return lines


def _table(day: Levels) -> Table:
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    from lutbench.exposure.levels import GREY, Reading
    from lutbench.report.words import percent_words, stops_words

    depths = (8, 10) if day.lut else (8, 10, 12)
    ranges: tuple[Range, Range] = ("full", "legal")
    gap = 1 if day.lut else 2
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 0, 0, gap - 1), pad_edge=False, show_edge=False)
    table.add_column("light", no_wrap=True)
    if not day.lut:
        table.add_column("refl.", justify="right")
    table.add_column("stops", justify="right")

    def add_columns(style: str) -> None:
        table.add_column("%", justify="right", style=style)
        for bits in depths:
            for name in ranges:
                table.add_column(f"{bits}b\n{name}", justify="right", style=style)

    def cells(reading: Reading) -> list[str]:
        codes = [str(reading.code(bits, name)) for bits in depths for name in ranges]
        return [f"{reading.percent:.1f}", *codes]

    add_columns("")
    if day.lut:
        table.add_column("→", style="dim", width=1)
        add_columns("")
    for each in day.levels:
        row = [escape(each.label.replace("-", "−"))]
        if not day.lut:
            row.append(percent_words(each.reflectance))
        row += [stops_words(each.stops), *cells(each.recorded)]
        if each.after_lut:
            row += ["", *cells(each.after_lut)]
        subject = not each.label.startswith(("+", "-"))
        style = "bold" if each.reflectance == GREY else "" if subject else "dim"
        table.add_row(*row, style=style)
    return table
