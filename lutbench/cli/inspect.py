"""``lutbench inspect``: what a LUT does, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.inspect_print import (
    BRACKETS,
    COLUMNS,
    Pictures,
    draw,
    print_one,
    row_of,
    row_of_unreadable,
)
from lutbench.cli.options import (
    EndOptions,
    RunOptions,
    catalogue_of,
    definitions_option,
    end_options,
    force_option,
    grouped_options,
    json_line,
    json_option,
    print_json_line,
    range_options,
    worker_options,
)
from lutbench.cli.spelling import with_options
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue

_SORTS = ("name", "worst", "kind", "grey")


@dataclass(frozen=True)
class InspectRequest:
    """What is asked about each file."""

    ends: EndOptions
    limit_texts: tuple[str, ...]
    definitions: tuple[str, ...]
    as_json: bool
    keep: bool
    """Whether to return the inspection itself, for pictures."""


@dataclass(frozen=True)
class InspectedFile:
    """The result for one file as it is printed, or the error."""

    file: str
    row: tuple[str, ...] = ()
    line: str = ""
    """The report as JSON, with ``--json`` only."""
    kind: str = ""
    grey: float = 0.0
    worst: int = -1
    """The severity of the worst finding, from 0; −1 where there is none."""
    guessed: bool = False
    """Whether mid grey is assumed half way between black and white, as the curve is not known."""
    found: Inspection | None = None
    error: str = ""


@dataclass(frozen=True)
class Judging:
    """Limits, what counts as a failure, and the order of several LUTs."""

    limit_texts: tuple[str, ...]
    fail_on: str | None
    sort: str


@click.command()
@click.argument("luts", metavar="LUT...", nargs=-1, required=True)
@end_options(
    source_curve="The curve of the recording: adds levels in stops.",
    source_gamut="The gamut of the recording: adds hue shifts.",
)
@range_options
@end_options(
    target_curve="The curve of the display that shows the result. [default: as the file says, "
    "else BT.1886]",
    target_gamut="The gamut of the display that shows the result. [default: as the file says, "
    "else BT.709]",
)
@click.option(
    "--limit",
    "limit_texts",
    multiple=True,
    metavar="CODE=VALUE",
    help="Change the limit of a finding, such as tint=2.5. May be given more than once.",
)
@click.option(
    "--fail-on",
    type=click.Choice(["info", "warning", "error"]),
    help="Exit with status 1 when a finding is this severe or worse.",
)
@click.option(
    "--page",
    metavar="OUT.html",
    help="Write the report of one LUT as a page: a single file that works offline.",
)
@click.option(
    "--sheet", metavar="OUT.png", help="Write a contact sheet: one still through every LUT."
)
@click.option(
    "--set-sheet",
    "set_sheets",
    multiple=True,
    metavar="OUT.html|OUT.png",
    help="Write the set on one page to print: what each LUT is for, its levels, its checksum. "
    "May be given more than once.",
)
@click.option(
    "--still",
    metavar="FILE",
    help="The still that they show, as it was recorded. [default: a built-in one]",
)
@click.option(
    "--sort",
    type=click.Choice(_SORTS),
    default="name",
    show_default=True,
    help="The order of several LUTs: by name, worst finding, kind, or level of mid grey.",
)
@worker_options("LUTs")
@definitions_option
@json_option
@force_option
@grouped_options(ends=EndOptions, pictures=Pictures, judging=Judging, run=RunOptions)
def command(
    luts: tuple[str, ...],
    ends: EndOptions,
    pictures: Pictures,
    judging: Judging,
    run: RunOptions,
    **options: Any,
) -> int:
    """Report what a LUT does, and what is wrong with it.

    One LUT gets a report; several, or a folder, get one line each and are worked
    on by all cores. With --json each line is a report of its own (JSON Lines).
    Findings are info (right for some LUTs, wrong for others), warnings (a defect
    that can be seen) and errors (the LUT cannot be used as it is).

    \b
    Example:
      lutbench inspect day.cube --source-curve ACEScct --source-gamut "ACES AP1"
      lutbench inspect luts/ --sheet sheet.png --source-curve ACEScct
      lutbench inspect luts/ --set-sheet set.html
    """
    from lutbench.formats.registry import lut_files
    from lutbench.inspection.registry import Limits

    files, many = lut_files(luts)
    if pictures.page and many:
        raise LutbenchError("a page shows one LUT", where="--page", accepted="one file")
    catalogue = catalogue_of(options["definitions"])
    ends.found(catalogue, exact=False)
    Limits.parse(judging.limit_texts)
    for path in pictures.set_sheets:
        from lutbench.report.set_sheet import check_name

        check_name(path)
    drawn = bool(pictures.page or pictures.sheet or pictures.set_sheets)
    keep = drawn or not many
    texts, definitions = judging.limit_texts, options["definitions"]
    asked = InspectRequest(ends, texts, definitions, options["as_json"], keep)
    if many:
        places = sorted((each.path for each in files), key=str.casefold)
        reports = _many(places, asked, judging.sort, run)
        known = [each.found for each in reports if each.found is not None]
        if drawn:
            draw(known, pictures, catalogue)
    else:
        found = _inspected(files[0].path, asked)
        if found.known_by == "project":
            _say_project()
        if drawn:
            draw([found], pictures, catalogue)
        if asked.as_json:
            print_json_line(found.to_data())
        else:
            print_one(_identified(found, catalogue))
        reports = [_file_report(found, asked)]
    return _status(reports, judging.fail_on)


def _many(
    files: list[str], asked: InspectRequest, sort: str, run: RunOptions
) -> list[InspectedFile]:
    """Print a line for each file: as they are finished with --sort name, else at the end."""
    from lutbench.cli.progress import progress
    from lutbench.cli.terminal import Lines
    from lutbench.long_work import run_parallel

    lines = None if asked.as_json else Lines("LUT", [Path(each).name for each in files], COLUMNS)
    reports: list[InspectedFile] = []

    def put(each: InspectedFile) -> None:
        if lines is None:
            click.echo(each.line)
        else:
            lines.print(Path(each.file).name, each.row)

    with progress("inspecting", len(files), lines.screen if lines else None) as step:
        for done in run_parallel(inspect_file, files, asked, run.workers(len(files))):
            each = done.value or _unreadable(done.item, done.error, asked.as_json)
            if sort == "name":
                put(each)
                each = replace(each, row=(), line="")
            reports.append(each)
            step()
    if sort != "name":
        reports.sort(key=_sort_key(sort))
        for each in reports:
            put(each)
    if lines is not None and any(each.guessed for each in reports):
        lines.screen.print(BRACKETS, style="dim")
    return reports


def inspect_file(file: str, asked: InspectRequest) -> InspectedFile:
    """The result for one file; called in this process or in another."""
    try:
        return _file_report(_inspected(file, asked), asked)
    except LutbenchError as error:
        return _unreadable(file, with_options(str(error)), asked.as_json)


def _inspected(file: str, asked: InspectRequest) -> Inspection:
    from lutbench.inspection.inspection import inspect
    from lutbench.inspection.registry import Limits

    catalogue = catalogue_of(asked.definitions)
    found = inspect(
        file,
        **asked.ends.found(catalogue, exact=False),
        limits=Limits.parse(asked.limit_texts),
        catalogue=catalogue,
    )
    return found if found.known_by else _by_project(found, catalogue)


def _by_project(found: Inspection, catalogue: Catalogue) -> Inspection:
    """The inspection with the project's source encoding, where there is a project."""
    from lutbench.cli.options import project_here, shown_path
    from lutbench.inspection.ends import with_usual_ends

    project = project_here()
    if project is None or not project.source.curve or found.health.decided_by is not None:
        return found
    where, source = shown_path(project), project.source
    gamut = catalogue.gamut(source.gamut, where=where) if source.gamut else None
    return with_usual_ends(
        found, catalogue.curve(source.curve, where=where, exact=False), gamut, source.range
    )


def _file_report(found: Inspection, asked: InspectRequest) -> InspectedFile:
    from lutbench.inspection.finding import SEVERITIES

    return InspectedFile(
        found.file or "",
        () if asked.as_json else row_of(found),
        json_line(found.to_data()) if asked.as_json else "",
        found.kind,
        found.mid_grey_out,
        SEVERITIES.index(found.worst) if found.worst else -1,
        found.source_curve is None,
        found if asked.keep else None,
    )


def _unreadable(file: str, error: str, as_json: bool) -> InspectedFile:
    line = json_line({"file": file, "error": error}) if as_json else ""
    row = row_of_unreadable(error.removeprefix(f"{file}: "))
    return InspectedFile(file, row, line, error=error)


def _say_project() -> None:
    from lutbench.cli.options import project_here, say_taken

    if project := project_here():
        say_taken(project, f"recorded in {project.source}")


def _identified(found: Inspection, catalogue: Catalogue) -> Inspection:
    """The inspection with identified encodings, where neither the user nor the file names them."""
    from lutbench.inspection.ends import identified

    return found if found.known_by else identified(found, catalogue)[0]


def _sort_key(sort: str) -> Any:
    """The sort key for LUTs; files that could not be read come last."""

    def key(each: InspectedFile) -> tuple[Any, ...]:
        by = {"worst": -each.worst, "kind": each.kind, "grey": each.grey}[sort]
        return (bool(each.error), by, each.file.casefold())

    return key


def _status(reports: list[InspectedFile], fail_on: str | None) -> int:
    from lutbench.inspection.finding import SEVERITIES

    if any(each.error for each in reports):
        return 2
    if fail_on is None:
        return 0
    return 1 if any(each.worst >= SEVERITIES.index(fail_on) for each in reports) else 0
