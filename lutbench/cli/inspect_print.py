"""What `lutbench inspect` shows: a box, facts, findings, levels and bit depth; pages and sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lutbench.cli.options import say
from lutbench.cli.terminal import Column, console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from rich.console import Console
    from rich.panel import Panel
    from rich.table import Table

    from lutbench.exposure.reading import Reading
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue

SHOWN_COMMENTS = 4
"""Comment lines of the file that the report prints: enough for what recipes write."""

_STYLES = {"error": "bold red", "warning": "bold yellow", "info": "cyan", None: "green"}


def print_one(found: Inspection) -> None:
    """Print the report of one LUT."""
    from rich.markup import escape
    from rich.padding import Padding

    screen = console(markup=True)
    screen.print(f"[bold]{escape(found.name)}[/bold]", soft_wrap=True)
    screen.print(escape(found.verdict))
    screen.print(_box(found))
    screen.print(_facts(found))
    screen.print()
    if not found.findings:
        screen.print("[green]Findings: none[/green]")
    else:
        screen.print("[bold]Findings[/bold]")
    for each in found.findings:
        style = _STYLES[each.severity]
        screen.print(f"[{style}]{each.severity}[/{style}] {each.code}: {escape(each.message)}")
        for text in (f"What you see: {each.seen}.", f"Advice: {each.advice}."):
            screen.print(Padding(f"[dim]{escape(text)}[/dim]", (0, 0, 0, 4)))
        if each.place and each.place.node:
            screen.print(Padding(f"[dim]{_place(each.place)}[/dim]", (0, 0, 0, 4)))
    if found.health.decided_by is not None:
        screen.print(
            "[dim]not checked: anything else, as this changes how the whole LUT is read[/dim]"
        )
    else:
        for missed in found.not_examined:
            screen.print(f"[dim]not checked: {escape(str(missed))}[/dim]")
    if not found.unusable:
        _figures(screen, found)
    _cautions(screen, found)


def _figures(screen: Console, found: Inspection) -> None:
    """Levels and bit depth."""
    from rich.markup import escape

    from lutbench.cli.tables import WIDE_COLUMNS
    from lutbench.report.inspection_words import scene_words

    screen.print("\n[bold]Levels[/bold]")
    screen.print(_levels(found, narrow=screen.width < WIDE_COLUMNS))
    if found.scene is not None:
        for line in scene_words(found):
            screen.print(escape(line))
    screen.print("\n[bold]Bit depth[/bold]")
    screen.print(_depth(found))


def _box(found: Inspection) -> Panel:
    """A summary: what to set, what to read on the waveform, what to expect."""
    from rich import box
    from rich.console import Group
    from rich.markup import escape
    from rich.panel import Panel

    from lutbench.cli.tables import fact_table, ruled_table

    rows = ((name, escape(text)) for name, text in found.box.rows)
    parts: list[Any] = [fact_table(rows, "dim")]
    if found.box.lines:
        table = ruled_table(gap=3)
        table.add_column("on the waveform", no_wrap=True)
        for name in ("before the LUT", "after it"):
            table.add_column(name, justify="right", no_wrap=True)
        for line in found.box.lines:
            level = (f"{line.before:.0f} %", f"{line.after:.0f} %")
            table.add_row(escape(line.label.replace("-", "−")), *level)
        parts += ["", table]
    return Panel(Group(*parts), box=box.ROUNDED, expand=False)


def _cautions(screen: Console, found: Inspection) -> None:
    from rich.markup import escape

    for note in found.notes:
        screen.print(f"[dim]note: {escape(note)}[/dim]")
    for line in filter(None, (line.strip() for line in found.comments[:SHOWN_COMMENTS])):
        screen.print(f"[dim]comment: {escape(line)}[/dim]")
    if (more := len(found.comments) - SHOWN_COMMENTS) > 0:
        screen.print(f"[dim]… and {more} more lines of comment[/dim]")
    screen.print(
        "[dim]A monitoring LUT is for viewing: check the monitor's own range, and defer to the "
        "delivery specification.[/dim]"
    )


def _place(place: Any) -> str:
    def three(values: tuple[float, ...]) -> str:
        return " ".join(f"{value:.3f}" for value in values)

    node = " ".join(map(str, place.node))
    text = f"At node {node}: {three(place.input)} in, {three(place.output)} out"
    return f"{text} [{place.swatch}]██[/{place.swatch}] {place.swatch}"


def _facts(found: Inspection) -> Table:
    from rich.markup import escape

    from lutbench.cli.tables import fact_table
    from lutbench.report.inspection_words import fact_rows

    return fact_table(((name, escape(text)) for name, text in fact_rows(found)), "dim")


def _levels(found: Inspection, narrow: bool) -> Table:
    from rich.markup import escape

    from lutbench.cli.tables import ruled_table
    from lutbench.exposure.reading import GREY
    from lutbench.report.words import percent_words, stops_words

    table = ruled_table()
    known = found.scene is not None
    table.add_column("light" if known else "in", no_wrap=True)
    if known and not narrow:
        table.add_column("refl.", justify="right")
    if known:
        table.add_column("stops", justify="right")
    # In a narrow table each head says by itself which side of the LUT it is about.
    before, after = ("in ", "out ") if narrow else ("", "")
    heads = ["in %", f"{before}10b full", f"{before}10b legal"]
    heads += ["out %", f"{after}10b full", f"{after}10b legal"]
    for head in heads if known else heads[1:]:
        table.add_column(head, justify="right")
    for each in found.levels:
        assert each.after_lut is not None
        cells = [*_percent_and_codes(each.recorded), *_percent_and_codes(each.after_lut)]
        label = escape(each.label.replace("-", "−"))
        if known:
            light = [] if narrow else [percent_words(each.reflectance)]
            cells = [label, *light, stops_words(each.stops), *cells]
        else:
            cells = [label, *cells[1:]]
        grey = each.reflectance == GREY
        table.add_row(*cells, style="bold" if grey else "" if each.is_subject else "dim")
    return table


def _percent_and_codes(reading: Reading) -> list[str]:
    codes = (reading.code(10, "full"), reading.code(10, "legal"))
    return [f"{reading.percent:.1f}", *map(str, codes)]


def _depth(found: Inspection) -> Table:
    from lutbench.cli.tables import ruled_table
    from lutbench.report.inspection_words import depth_words

    table = ruled_table(gap=2)
    for name in ("one step of", "where", "in 10b codes", "in 8b codes", "after 8b output"):
        table.add_column(name, justify="left" if name in ("one step of", "where") else "right")
    for report in found.depth:
        for step in report.steps:
            where = "steepest" if step.place == "steepest" else "mid grey"
            table.add_row(
                f"{report.input_bits} bit",
                f"{where}, {100 * step.at:.0f} % in",
                f"{step.step_10bit_codes:.1f}",
                f"{step.step_8bit_codes:.1f}",
                f"up to {step.after_8_bit}",
            )
    table.caption = "\n".join(f"{depth_words(each)}." for each in found.depth)
    table.caption_justify = "left"
    return table


COLUMNS = (
    Column("kind", 8),
    Column("size", 5, number=True),
    Column("grey in → out", 15, number=True),
    Column("worst finding"),
)
"""The columns after the name of the LUT."""

BRACKETS = (
    "(in brackets: half way between the lowest and highest output; name --source-curve for "
    "mid grey)"
)


def row_of(found: Inspection) -> tuple[str, ...]:
    """The cells of a LUT's line after its name."""
    first = found.findings[0] if found.findings else None
    style = _STYLES[found.worst]
    worst = f"[{style}]{first.severity}[/{style}] {first.code}" if first else "none"
    size = str(found.subject.size)
    if found.unusable:
        return ("", size, "", worst)
    grey = f"{100 * found.mid_grey_in:.0f} → {100 * found.mid_grey_out:.0f} %"
    if found.source_curve is None:
        grey = f"({grey})"
    return (found.kind, size, grey, worst)


def row_of_unreadable(error: str) -> tuple[str, ...]:
    """The one cell of a file that could not be read."""
    from rich.markup import escape

    return (f"[bold red]{escape(error)}",)


@dataclass(frozen=True)
class Pictures:
    """The page, the contact sheet and the set sheet to draw, and the still that they show."""

    page: str | None
    sheet: str | None
    set_sheets: tuple[str, ...]
    still: str | None
    force: bool


def draw(found: list[Inspection], pictures: Pictures, catalogue: Catalogue) -> None:
    """Write the page and the sheets that the options name."""
    if pictures.page:
        _write_page(found[0], pictures.page, pictures.still, catalogue, pictures.force)
    if pictures.sheet:
        _write_sheet(found, pictures.sheet, pictures.still, pictures.force)
    for path in pictures.set_sheets:
        from lutbench.report.set_sheet import write_set_sheet

        write_set_sheet(found, path, still=pictures.still, force=pictures.force)
        say(f"{path}: set sheet written")


def _write_page(
    found: Inspection, page: str, still: str | None, catalogue: Catalogue, force: bool
) -> None:
    from lutbench import files
    from lutbench.inspection.ends import identified
    from lutbench.report.page import page_html

    found, identification = identified(found, catalogue)
    text = page_html(found, still=still, identification=identification)
    files.write_text(page, text, force=force)
    say(f"{page}: page written")


def _write_sheet(found: list[Inspection], sheet: str, still: str | None, force: bool) -> None:
    from lutbench.media.sheet import lut_sheet, write_sheet
    from lutbench.media.still.still import read_still
    from lutbench.report.pictures import gamut_for_pictures, our_still, shown_lut

    if not found:
        raise LutbenchError("there is no LUT to show", where=sheet)
    first = found[0]
    picture = read_still(still) if still else our_still(first)
    recording = "recording not known"
    if first.source_curve is not None:
        recording = f"recorded in {first.source_curve.name}"
        if still is None:
            assumed = "" if first.source_gamut is not None else " (assumed)"
            recording += f", {gamut_for_pictures(first).name}{assumed}"
    elif still is None:
        recording = "this picture is not log: name --source-curve, or give a log still with --still"
    drawn = lut_sheet(
        picture,
        [shown_lut(each) for each in found],
        heading=f"{len(found)} LUT{'s' if len(found) != 1 else ''}",
        subheading=recording,
    )
    write_sheet(drawn, sheet, force=force)
    say(f"{sheet}: contact sheet written")
