"""``lutbench inspect``: what a LUT does, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
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
    from rich.console import Console
    from rich.panel import Panel
    from rich.table import Table

    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.signal import Range

SCHEMA = 1
SHOWN_COMMENTS = 4
"""Lines of the file's comments that the report prints at its end."""

_STYLES = {"error": "bold red", "warning": "bold yellow", "info": "cyan", None: "green"}
_SORTS = ("name", "worst", "kind", "grey")


@dataclass(frozen=True)
class Names:
    """The encodings that the LUT stands between, by name."""

    source_curve: str | None
    source_gamut: str | None
    target_curve: str
    target_gamut: str

    def found(self, catalogue: Catalogue) -> dict[str, Any]:
        """Curves and gamuts by the name of their option; None for one that is not given."""
        return {
            name: None
            if value is None
            else (catalogue.curve if name.endswith("curve") else catalogue.gamut)(
                value, where=f"--{name.replace('_', '-')}"
            )
            for name, value in vars(self).items()
        }


@dataclass(frozen=True)
class RangeOptions:
    """The ranges of the values that the LUT takes and gives."""

    source_range: Range
    target_range: Range


@dataclass(frozen=True)
class Pictures:
    """The page and the contact sheet to draw, and the still that they show."""

    page: str | None
    sheet: str | None
    still: str | None
    force: bool


@dataclass(frozen=True)
class Judging:
    """Limits, what counts as a failure, and the order of several LUTs."""

    limit_texts: tuple[str, ...]
    fail_on: str | None
    sort: str


@click.command()
@click.argument("luts", metavar="LUT...", nargs=-1, required=True)
@click.option(
    "--source-curve", metavar="NAME", help="The curve of the recording: adds levels in stops."
)
@click.option(
    "--source-gamut", metavar="NAME", help="The gamut of the recording: adds what happens to hues."
)
@range_options
@click.option(
    "--target-curve",
    metavar="NAME",
    default="BT.1886",
    show_default=True,
    help="How what comes out is seen.",
)
@click.option(
    "--target-gamut",
    metavar="NAME",
    default="BT.709",
    show_default=True,
    help="The gamut that what comes out is seen in.",
)
@click.option(
    "--limit",
    "limit_texts",
    multiple=True,
    metavar="CODE=VALUE",
    help="Another limit for a finding, as tint=2.5. May be given more than once.",
)
@click.option(
    "--fail-on",
    type=click.Choice(["info", "warning", "error"]),
    help="Exit with status 1 when a finding is this bad or worse.",
)
@click.option(
    "--page", metavar="OUT.html", help="Write a page to look at, for one LUT: one file, offline."
)
@click.option(
    "--sheet", metavar="OUT.png", help="Write a contact sheet: one still through every LUT."
)
@click.option(
    "--still",
    metavar="FILE",
    help="The still for --page and --sheet, as it was recorded. [default: one of ours]",
)
@click.option(
    "--sort",
    type=click.Choice(_SORTS),
    default="name",
    show_default=True,
    help="The order of several LUTs: by name, worst finding, kind, or level of mid grey.",
)
@definitions_option
@json_option
@force_option
@gathered(names=Names, ranges=RangeOptions, pictures=Pictures, judging=Judging)
def command(
    luts: tuple[str, ...],
    names: Names,
    ranges: RangeOptions,
    pictures: Pictures,
    judging: Judging,
    **options: Any,
) -> int:
    """Say what a LUT does, and what is wrong with it.

    One LUT gets a report; several, or a folder, one line each. Findings are
    info (right for some LUTs, wrong for others), warnings (a defect that shows)
    and errors (useless as it is).

    \b
    Example:
      lutbench inspect day.cube --source-curve ACEScct --source-gamut "ACES AP1"
      lutbench inspect luts/ --sheet sheet.png --source-curve ACEScct
    """
    from lutbench.formats.folders import lut_files
    from lutbench.inspection.inspection import inspect
    from lutbench.inspection.limits import Limits

    files, many = lut_files(luts)
    if pictures.page and many:
        raise LutbenchError("a page shows one LUT", where="--page", accepted="one file")
    catalogue = catalogue_of(options["definitions"])
    settings = {**names.found(catalogue), **vars(ranges)}
    limits = Limits.parse(judging.limit_texts)

    found: list[Inspection] = []
    unreadable: list[dict[str, str]] = []
    for file in (each.path for each in files):
        try:
            found.append(inspect(file, **settings, limits=limits, catalogue=catalogue))
        except LutbenchError as error:
            if not many:
                raise
            unreadable.append({"file": file, "error": str(error)})
    found.sort(key=_sort_key(judging.sort))

    if pictures.page:
        _write_page(found[0], pictures.page, pictures.still, catalogue, pictures.force)
    if pictures.sheet:
        _write_sheet(found, pictures.sheet, pictures.still, pictures.force)
    if options["as_json"] and many:
        luts_data = [each.to_data() for each in found]
        print_json({"schema": SCHEMA, "luts": luts_data, "unreadable": unreadable})
    elif options["as_json"]:
        print_json(found[0].to_data())
    elif many:
        _print_many(found, unreadable)
    else:
        _print_one(_identified(found[0], catalogue))
    return _status(found, unreadable, judging.fail_on)


def _identified(found: Inspection, catalogue: Catalogue) -> Inspection:
    """The inspection with what its numbers say, where neither the user nor the file does."""
    from lutbench.inspection.identified import identified

    return found if found.known_by else identified(found, catalogue)[0]


def _sort_key(sort: str) -> Any:
    from lutbench.inspection.finding import SEVERITIES

    def key(found: Inspection) -> tuple[Any, ...]:
        name = (found.file or "").casefold()
        if sort == "worst":
            return (-(SEVERITIES.index(found.worst) if found.worst else -1), name)
        if sort == "kind":
            return (found.kind, name)
        if sort == "grey":
            return (found.mid_grey_out, name)
        return (name,)

    return key


def _status(found: list[Inspection], unreadable: list[dict[str, str]], fail_on: str | None) -> int:
    from lutbench.inspection.finding import SEVERITIES

    if unreadable:
        return 2
    if fail_on is None:
        return 0
    least = SEVERITIES.index(fail_on)
    bad = any(each.worst and SEVERITIES.index(each.worst) >= least for each in found)
    return 1 if bad else 0


def _write_page(
    found: Inspection, page: str, still: str | None, catalogue: Catalogue, force: bool
) -> None:
    from lutbench.inspection.identified import identified
    from lutbench.report.page import write_page

    found, identification = identified(found, catalogue)
    write_page(found, page, still=still, identification=identification, force=force)
    say(f"{page}: page written")


def _write_sheet(found: list[Inspection], sheet: str, still: str | None, force: bool) -> None:
    from lutbench.media.sheet import lut_sheet, write_sheet
    from lutbench.media.still.still import read_still
    from lutbench.report.pictures import gamut_for_pictures, our_still

    if not found:
        raise LutbenchError("there is no LUT to show", where=sheet)
    first = found[0]
    picture = read_still(still) if still else our_still(first)
    under = "recorded as it is"
    if first.source_curve is not None:
        under = f"recorded in {first.source_curve.name}"
        if still is None:
            told = "" if first.source_gamut is not None else " (assumed)"
            under += f", {gamut_for_pictures(first).name}{told}"
    elif still is None:
        under = "a picture that is not log: name --source-curve, or give a log still with --still"
    drawn = lut_sheet(
        picture,
        [(each.name, each.lut) for each in found],
        heading=f"{len(found)} LUT{'s' if len(found) != 1 else ''}",
        subheading=under,
    )
    write_sheet(drawn, sheet, force=force)
    say(f"{sheet}: contact sheet written")


def _print_one(found: Inspection) -> None:
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
        for text in (f"Seen as: {each.seen}.", f"Do: {each.advice}."):
            screen.print(Padding(f"[dim]{escape(text)}[/dim]", (0, 0, 0, 4)))
        if each.place and each.place.node:
            screen.print(Padding(f"[dim]{_place(each.place)}[/dim]", (0, 0, 0, 4)))
    for missed in found.not_examined:
        screen.print(f"[dim]not examined: {escape(str(missed))}[/dim]")
    screen.print("\n[bold]Levels[/bold]")
    screen.print(_levels(found))
    if found.scene is not None:
        for line in scene_lines(found):
            screen.print(escape(line))
    screen.print("\n[bold]Bit depth[/bold]")
    screen.print(_depth(found))
    _cautions(screen, found)


def _box(found: Inspection) -> Panel:
    """The answer in short: what to set, to read and to expect."""
    from rich import box
    from rich.console import Group
    from rich.markup import escape
    from rich.panel import Panel
    from rich.table import Table

    answers = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False)
    answers.add_column(style="dim", no_wrap=True)
    answers.add_column()
    for name, text in found.box.rows:
        answers.add_row(name, escape(text))
    parts: list[Any] = [answers]
    if found.box.lines:
        table = Table(box=box.SIMPLE_HEAD, padding=(0, 3, 0, 0), pad_edge=False, show_edge=False)
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
    from rich.table import Table

    from lutbench.report.words import fact_rows

    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column(style="dim", no_wrap=True)
    table.add_column()
    for name, text in fact_rows(found):
        table.add_row(name, escape(text))
    return table


def _levels(found: Inspection) -> Table:
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    from lutbench.report.words import percent_words, stops_words

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    known = found.scene is not None
    table.add_column("light" if known else "in", no_wrap=True)
    if known:
        table.add_column("refl.", justify="right")
        table.add_column("stops", justify="right")
    names = ["in %", "10b full", "10b legal", "out %", "10b full", "10b legal"]
    for name in names if known else names[1:]:
        table.add_column(name, justify="right")
    for row in found.levels_data():
        after = row["after_lut"]
        cells = [f"{row['percent']:.1f}", *_codes(row), f"{after['percent']:.1f}", *_codes(after)]
        label = escape(row["label"].replace("-", "−"))
        if known:
            stops = stops_words(row["stops"] if row["stops"] is not None else float("-inf"))
            cells = [label, percent_words(row["reflectance"]), stops, *cells]
        else:
            cells = [label, *cells[1:]]
        subject = not row["label"].startswith(("+", "-"))
        grey = row["reflectance"] == 0.18
        table.add_row(*cells, style="bold" if grey else "" if subject else "dim")
    return table


def _codes(reading: dict[str, Any]) -> list[str]:
    return [str(reading["code"][name]["10"]) for name in ("full", "legal")]


def scene_lines(found: Inspection) -> list[str]:
    """The reading in stops, in words."""
    from lutbench.report.words import scene_words

    return scene_words(found)


def _depth(found: Inspection) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 2, 0, 0), pad_edge=False, show_edge=False)
    for name in ("one step of", "where", "in 10b codes", "in 8b codes", "after 8b output"):
        table.add_column(name, justify="left" if name in ("one step of", "where") else "right")
    for report in found.depth:
        for step in report.steps:
            where = "steepest" if step.place == "steepest" else "mid grey"
            table.add_row(
                f"{report.input_bits} bit",
                f"{where}, {100 * step.at:.0f} % in",
                f"{step.step * 1023:.1f}",
                f"{step.step * 255:.1f}",
                f"up to {step.after_8_bit}",
            )
    table.caption = "; ".join(
        f"{each.input_bits} bit: {each.levels} greys come out, {each.levels_8_bit} in 8 bit"
        for each in found.depth
    )
    table.caption_justify = "left"
    return table


def _print_many(found: list[Inspection], unreadable: list[dict[str, str]]) -> None:
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    screen = console(markup=True)
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    table.add_column("LUT", overflow="fold")
    table.add_column("kind", no_wrap=True)
    table.add_column("size", justify="right")
    table.add_column("grey in → out", justify="right", no_wrap=True)
    table.add_column("worst finding", overflow="fold")
    for each in found:
        grey = f"{100 * each.mid_grey_in:.0f} → {100 * each.mid_grey_out:.0f} %"
        if each.source_curve is None:
            grey = f"({grey})"
        first = each.findings[0] if each.findings else None
        style = _STYLES[each.worst]
        worst = f"[{style}]{first.severity}[/{style}] {first.code}" if first else "none"
        table.add_row(escape(each.name), each.kind, str(each.subject.size), grey, worst)
    for bad in unreadable:
        row = [escape(Path(bad["file"]).name), "", "", "", f"[bold red]{escape(bad['error'])}"]
        table.add_row(*row)
    screen.print(table)
    if any(each.source_curve is None for each in found):
        screen.print(
            "[dim](in brackets: half way between the lowest and highest output; name "
            "--source-curve for mid grey)[/dim]"
        )
