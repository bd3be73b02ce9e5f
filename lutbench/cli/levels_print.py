"""How `lutbench levels` prints: one LUT in full, a set side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.cli.terminal import console

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from lutbench.exposure.levels import Levels
    from lutbench.exposure.reading import Level, Reading
    from lutbench.exposure.sets import SetLevels, SetMember
    from lutbench.exposure.zebra import ZebraMarks, ZebraSetting
    from lutbench.model.signal import Range

RANGES: tuple[Range, Range] = ("full", "legal")


def print_levels(day: Levels) -> None:
    """Print the levels of one curve, and of one LUT."""
    from rich.markup import escape
    from rich.padding import Padding

    from lutbench.cli.tables import WIDE_COLUMNS

    screen = console(markup=True)
    screen.print(f"[bold]Levels of {escape(day.curve.name)}[/bold]", soft_wrap=True)
    if day.curve.note:
        screen.print(f"[dim]{escape(day.curve.note)}[/dim]")
    if day.lut:
        ranges = f"{day.source_range} range in, {day.target_range} range out"
        screen.print(f"through {escape(day.lut)} [dim]({ranges})[/dim]", soft_wrap=True)
    if day.shown:
        screen.print(escape(str(day.shown)), soft_wrap=True)
    if day.exposed:
        from lutbench.exposure.reading import signed_stops

        screen.print(f"exposed {signed_stops(day.exposed)}: light and stops are those of the scene")
    screen.print(day.range_note, soft_wrap=False, style="dim", markup=False)
    screen.print()
    screen.print(_table(day, narrow=screen.width < WIDE_COLUMNS))
    for line in ends_lines(day):
        screen.print(line)
    zebra = day.zebra
    screen.print("\n[bold]Zebra on the recording[/bold]" + zebra_offer(day))
    _print_zebra(screen, zebra)
    if zebra.after_lut:
        screen.print("\n[bold]Zebra after the LUT[/bold] (on the monitor)")
        _print_zebra(screen, zebra.after_lut)
    screen.print("\n[bold]Neutral density[/bold] (0.3 per stop)")
    screen.print(Padding(density_line(), (0, 0, 0, 2)))
    if day.filter_choice:
        screen.print(Padding(f"• {day.filter_choice.text}", (0, 0, 0, 2)))


def _print_zebra(screen: Console, marks: ZebraMarks) -> None:
    from rich.markup import escape
    from rich.padding import Padding

    for line in [*marks.lines, f"each setting starts at: {zebra_line(marks.settings)}"]:
        screen.print(Padding(f"• {escape(line)}", (0, 0, 0, 2)))


def zebra_offer(day: Levels) -> str:
    """The zebra settings that were assumed, as a short clause."""
    if day.zebra.minimum > 0:
        return f" (from {day.zebra.minimum:g} % in steps of {day.zebra.step:g} %)"
    return f" (steps of {day.zebra.step:g} %; give the camera's lowest with --zebra-min)"


def zebra_line(settings: tuple[ZebraSetting, ...]) -> str:
    """For each zebra setting, the stops from which it shows."""
    from lutbench.exposure.reading import stops_of
    from lutbench.report.words import stops_words

    return (
        ", ".join(
            f"{each.percent:g} % {stops_words(stops_of(each.reflectance))}"
            for each in settings
            if each.reflectance > 0
        )
        + " stops"
    )


def density_line() -> str:
    """The filters with their stops, in one line."""
    from lutbench.exposure.filters import NEUTRAL_DENSITIES

    return ", ".join(f"{each.density:.1f} = {each.nominal_stops}" for each in NEUTRAL_DENSITIES)


def ends_lines(day: Levels) -> list[str]:
    """Where black is, and which light reaches 0 % and 100 %, in words."""
    from lutbench.report.words import ends_words

    lines = [f"Recorded: {ends_words(day, after=False)}"]
    if day.after_ends:
        lines.append(f"After the LUT: {ends_words(day, after=True)}")
    return lines


def print_set(found: SetLevels) -> None:
    """Print the LUTs of a set side by side, with a table for each recording."""
    from rich.markup import escape

    from lutbench.cli.tables import WIDE_COLUMNS
    from lutbench.exposure.sets import families

    screen = console(markup=True)
    if found.advice:
        screen.print(f"[bold]{escape(found.advice)}[/bold]\n")
    for family in families(found.members):
        assert family[0].day is not None
        screen.print(f"[bold]Recorded in {escape(family[0].day.curve.name)}[/bold]")
        screen.print(_set_table(family, found, narrow=screen.width < WIDE_COLUMNS))
        screen.print()
    for each in found.members:
        if each.note:
            screen.print(f"[dim]{escape(each.name)}: {escape(each.note)}[/dim]")
    screen.print(
        "[dim]Percent of the nominal signal (IRE) on the waveform. For viewing and exposing: "
        "check the monitor's own range setting, and defer to the delivery specification.[/dim]"
    )


def _set_table(family: list[SetMember], found: SetLevels, narrow: bool) -> Table:
    from rich.markup import escape

    from lutbench.cli.tables import ruled_table
    from lutbench.report.words import stops_words

    table = ruled_table()
    table.add_column("", overflow="fold")
    table.add_column("stops" if narrow else "exposure", justify="right")
    for label, _ in family[0].cards:
        table.add_column(label.replace(" ", "\n") if narrow else label, justify="right")
    recorded = [f"{level.recorded.percent:.0f} %" for _, level in family[0].cards]
    scene = f"{stops_words(found.exposed)}" if found.exposed else ""
    table.add_row("on the recording", scene, *recorded, style="dim", end_section=True)
    for each in family:
        percents = [
            f"{level.after_lut.percent:.0f} %" if level.after_lut else "–"
            for _, level in each.cards
        ]
        exposure = "" if each.exposure is None else stops_words(each.exposure)
        style = "bold" if each in found.paired else ""
        name = escape(each.name) + (" ← this one" if each in found.paired else "")
        table.add_row(name, exposure, *percents, style=style)
    return table


def _table(day: Levels, narrow: bool) -> Table:
    from lutbench.cli.tables import ruled_table
    from lutbench.exposure.reading import GREY

    depths: tuple[int, ...] = (8, 10) if day.lut else (8, 10, 12)
    if narrow:
        depths = (10,)
    table = ruled_table(gap=0 if day.lut else 1)
    table.add_column("light", no_wrap=True)
    if not day.lut:
        table.add_column("refl.", justify="right")
    table.add_column("stops", justify="right")
    # In a narrow table each head says by itself which side of the LUT it is about.
    _add_columns(table, depths, "in " if narrow and day.lut else "")
    if day.lut:
        table.add_column("→", style="dim")
        _add_columns(table, depths, "out " if narrow else "")
    if day.shown:
        table.add_column("cd/m²", justify="right")
    for each in day.levels:
        style = "bold" if each.reflectance == GREY else "" if each.is_subject else "dim"
        table.add_row(*_row(day, each, depths), style=style)
    return table


def _add_columns(table: Table, depths: tuple[int, ...], side: str) -> None:
    table.add_column(f"{side}%", justify="right")
    for bits in depths:
        for name in RANGES:
            table.add_column(f"{side}{bits}b\n{name}", justify="right")


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
