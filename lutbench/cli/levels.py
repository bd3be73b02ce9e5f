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

    from lutbench.exposure.levels import Level, Levels, Reading
    from lutbench.exposure.luminance import Shown
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.curves.base import Curve
    from lutbench.model.signal import Range
    from lutbench.model.transforms import Transform


RANGES: tuple[Range, Range] = ("full", "legal")


@dataclass(frozen=True)
class Recording:
    """What the camera records, and the LUT that it is watched through."""

    curve: str | None
    lut: str | None


@dataclass(frozen=True)
class ZebraOptions:
    """What the camera's zebra and its meter are set to."""

    zebra_min: float
    zebra_step: float
    over_exposure: float | None


@dataclass(frozen=True)
class DisplayOptions:
    """The display on which the levels are watched."""

    display_peak: float | None
    display_black: float
    surround: float | None
    target_curve: str | None


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
@click.option(
    "--display-peak",
    type=float,
    metavar="CD/M²",
    help="The peak of the display that is watched: adds cd/m².",
)
@click.option(
    "--display-black",
    type=float,
    default=0.0,
    metavar="CD/M²",
    help="Its black, with --display-peak. [default: 0]",
)
@click.option(
    "--surround",
    type=float,
    metavar="CD/M²",
    help="The luminance around it, with --display-peak: HLG depends on it. [default: 5]",
)
@click.option(
    "--target-curve",
    metavar="NAME",
    help="With --display-peak: the curve of what comes out of the LUT. [default: what the "
    "comments of the LUT say]",
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
@gathered(
    recording=Recording,
    zebra=ZebraOptions,
    ranges=LutRanges,
    screen=DisplayOptions,
    printing=Printing,
)
def command(
    recording: Recording,
    zebra: ZebraOptions,
    ranges: LutRanges,
    screen: DisplayOptions,
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
      lutbench levels --curve "BT.2100 HLG" --display-peak 600 --surround 20
    """
    import lutbench
    from lutbench.exposure.levels import levels

    if printing.as_csv and printing.as_json:
        raise LutbenchError("--csv and --json cannot both be printed", accepted="one of them")
    _check_cards(printing.cards)
    lut = recording.lut
    opened = None if lut is None else lutbench.open_lut(lut)
    known = catalogue_of(definitions)
    recorded, told = _recorded(recording.curve, lut, opened, known)
    day = levels(
        recorded,
        opened,
        lut_name="" if lut is None else Path(lut).name,
        **{**told, **{name: value for name, value in vars(ranges).items() if value}},
        **vars(zebra),
        shown=_shown(screen, recorded, opened, known),
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


def _shown(
    screen: DisplayOptions, recorded: Curve, opened: Transform | None, catalogue: Catalogue
) -> Shown | None:
    """What is watched on the display that the options name; None where they name none."""
    from lutbench.exposure.luminance import shown_on
    from lutbench.model.light import REFERENCE_SURROUND, Display

    if screen.display_peak is None:
        if screen.display_black or screen.surround or screen.target_curve:
            raise LutbenchError("no display is named", accepted="--display-peak CD/M²")
        return None
    surround = REFERENCE_SURROUND if screen.surround is None else screen.surround
    display = Display(screen.display_peak, screen.display_black, surround)
    if opened is None:
        return shown_on(recorded, display)
    from lutbench.inspection.told import told_ends

    target = told_ends(getattr(opened, "comments", ())).get("target")
    name = screen.target_curve or (target.curve if target else None)
    if name is None:
        raise LutbenchError(
            "nothing says which curve comes out of the LUT", accepted="--target-curve NAME"
        )
    gamut = catalogue.gamut(target.gamut) if target and target.gamut else None
    return shown_on(catalogue.curve(name, where="--target-curve"), display, gamut)


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
    if day.shown:
        screen.print(f"{escape(str(day.shown))}", soft_wrap=True)
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
    from rich.table import Table

    from lutbench.exposure.levels import GREY

    depths = (8, 10) if day.lut else (8, 10, 12)
    gap = 1 if day.lut else 2
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 0, 0, gap - 1), pad_edge=False, show_edge=False)
    table.add_column("light", no_wrap=True)
    if not day.lut:
        table.add_column("refl.", justify="right")
    table.add_column("stops", justify="right")
    _add_columns(table, depths)
    if day.lut:
        table.add_column("→", style="dim", width=1)
        _add_columns(table, depths)
    if day.shown:
        table.add_column("cd/m²", justify="right")
    for each in day.levels:
        subject = not each.label.startswith(("+", "-"))
        style = "bold" if each.reflectance == GREY else "" if subject else "dim"
        table.add_row(*_row(day, each, depths), style=style)
    return table


def _add_columns(table: Table, depths: tuple[int, ...]) -> None:
    table.add_column("%", justify="right")
    for bits in depths:
        for name in RANGES:
            table.add_column(f"{bits}b\n{name}", justify="right")


def _row(day: Levels, level: Level, depths: tuple[int, ...]) -> list[str]:
    from rich.markup import escape

    from lutbench.report.words import luminance_words, percent_words, stops_words

    def cells(reading: Reading) -> list[str]:
        codes = [str(reading.code(bits, name)) for bits in depths for name in RANGES]
        return [f"{reading.percent:.1f}", *codes]

    row = [escape(level.label.replace("-", "−"))]
    if not day.lut:
        row.append(percent_words(level.reflectance))
    row += [stops_words(level.stops), *cells(level.recorded)]
    if level.after_lut:
        row += ["", *cells(level.after_lut)]
    return [*row, luminance_words(level.luminance)] if day.shown else row
