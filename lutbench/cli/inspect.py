"""``lutbench inspect``: what a LUT does, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.inspect_pictures import Pictures, draw
from lutbench.cli.options import (
    RunOptions,
    catalogue_of,
    definitions_option,
    force_option,
    gathered,
    hands_options,
    json_line,
    json_option,
    print_json_line,
    range_options,
)
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.signal import Range

SCHEMA = 1
_SORTS = ("name", "worst", "kind", "grey")


@dataclass(frozen=True)
class EndOptions:
    """What the LUT stands between: encodings by name, and ranges of values."""

    source_curve: str | None
    source_gamut: str | None
    source_range: Range | None
    target_curve: str
    target_gamut: str
    target_range: Range | None

    def found(self, catalogue: Catalogue) -> dict[str, Any]:
        """By the name of their option; None for one that is not given."""
        look: dict[str, Callable[..., Any]] = {
            "curve": partial(catalogue.curve, exact=False),
            "gamut": catalogue.gamut,
        }
        found: dict[str, Any] = dict(vars(self))
        for name, value in vars(self).items():
            kind = name.partition("_")[2]
            if value is not None and kind in look:
                found[name] = look[kind](value, where=f"--{name.replace('_', '-')}")
        return found


@dataclass(frozen=True)
class InspectRequest:
    """What is asked of every file."""

    ends: EndOptions
    limit_texts: tuple[str, ...]
    definitions: tuple[str, ...]
    as_json: bool
    keep: bool
    """Whether the inspection itself is wanted, for pictures."""


@dataclass(frozen=True)
class Looked:
    """What one file gave, as it is printed; or why there is nothing."""

    file: str
    row: tuple[str, ...] = ()
    line: str = ""
    """The report as JSON, where that was asked for."""
    kind: str = ""
    grey: float = 0.0
    worst: int = -1
    """The severity of the worst finding, from 0; −1 where there is none."""
    guessed: bool = False
    """Whether mid grey is taken half way, since no curve says where it is."""
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
    "--set-sheet",
    metavar="OUT.html|OUT.png",
    help="Write the set on one page to print: what each LUT is for, its levels, its checksum.",
)
@click.option(
    "--still",
    metavar="FILE",
    help="The still that they show, as it was recorded. [default: one of ours]",
)
@click.option(
    "--sort",
    type=click.Choice(_SORTS),
    default="name",
    show_default=True,
    help="The order of several LUTs: by name, worst finding, kind, or level of mid grey.",
)
@hands_options("LUTs")
@definitions_option
@json_option
@force_option
@gathered(ends=EndOptions, pictures=Pictures, judging=Judging, run=RunOptions)
def command(
    luts: tuple[str, ...],
    ends: EndOptions,
    pictures: Pictures,
    judging: Judging,
    run: RunOptions,
    **options: Any,
) -> int:
    """Say what a LUT does, and what is wrong with it.

    One LUT gets a report; several, or a folder, one line each as they are
    done, on all cores. With --json each line is a report of its own (JSON
    Lines). Findings are info (right for some LUTs, wrong for others), warnings
    (a defect that shows) and errors (useless as it is).

    \b
    Example:
      lutbench inspect day.cube --source-curve ACEScct --source-gamut "ACES AP1"
      lutbench inspect luts/ --sheet sheet.png --source-curve ACEScct
      lutbench inspect luts/ --set-sheet set.html
    """
    from lutbench.formats.open import lut_files
    from lutbench.inspection.registry import Limits

    files, many = lut_files(luts)
    if pictures.page and many:
        raise LutbenchError("a page shows one LUT", where="--page", accepted="one file")
    catalogue = catalogue_of(options["definitions"])
    ends.found(catalogue)
    Limits.parse(judging.limit_texts)
    drawn = bool(pictures.page or pictures.sheet or pictures.set_sheet)
    keep = drawn or not many
    texts, definitions = judging.limit_texts, options["definitions"]
    asked = InspectRequest(ends, texts, definitions, options["as_json"], keep)
    if many:
        places = sorted((each.path for each in files), key=str.casefold)
        looked = _many(places, asked, judging.sort, run)
        known = [each.found for each in looked if each.found is not None]
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
            from lutbench.cli.inspect_print import print_one

            print_one(_identified(found, catalogue))
        looked = [_looked(found, asked)]
    return _status(looked, judging.fail_on)


def _many(files: list[str], asked: InspectRequest, sort: str, run: RunOptions) -> list[Looked]:
    """Print a line for each file: as they come in the order of names, else at the end."""
    from lutbench.cli.inspect_print import BRACKETS, COLUMNS
    from lutbench.cli.lines import Lines
    from lutbench.cli.progress import progress
    from lutbench.hands import worked

    lines = None if asked.as_json else Lines("LUT", [Path(each).name for each in files], COLUMNS)
    looked: list[Looked] = []

    def put(each: Looked) -> None:
        if lines is None:
            click.echo(each.line)
        else:
            lines.print(Path(each.file).name, each.row)

    with progress("inspecting", len(files), lines.screen if lines else None) as step:
        for done in worked(looked_at, files, asked, run.hands(len(files))):
            each = done.value or _unreadable(done.item, done.error, asked.as_json)
            if sort == "name":
                put(each)
                each = replace(each, row=(), line="")
            looked.append(each)
            step()
    if sort != "name":
        looked.sort(key=_sort_key(sort))
        for each in looked:
            put(each)
    if lines is not None and any(each.guessed for each in looked):
        lines.screen.print(BRACKETS, style="dim")
    return looked


def looked_at(file: str, asked: InspectRequest) -> Looked:
    """What one file gives; in whatever process this is called."""
    try:
        return _looked(_inspected(file, asked), asked)
    except LutbenchError as error:
        return _unreadable(file, str(error), asked.as_json)


def _inspected(file: str, asked: InspectRequest) -> Inspection:
    from lutbench.inspection.inspection import inspect
    from lutbench.inspection.registry import Limits

    catalogue = catalogue_of(asked.definitions)
    found = inspect(
        file,
        **asked.ends.found(catalogue),
        limits=Limits.parse(asked.limit_texts),
        catalogue=catalogue,
    )
    return found if found.known_by else _by_project(found, catalogue)


def _by_project(found: Inspection, catalogue: Catalogue) -> Inspection:
    """The inspection read with the recording of the project, where there is one."""
    from lutbench.cli.project import project_here, shown_path
    from lutbench.inspection.comments import with_usual_ends

    project = project_here()
    if project is None or not project.source.curve or found.health.decided_by is not None:
        return found
    where, source = shown_path(project), project.source
    gamut = catalogue.gamut(source.gamut, where=where) if source.gamut else None
    return with_usual_ends(
        found, catalogue.curve(source.curve, where=where, exact=False), gamut, source.range
    )


def _looked(found: Inspection, asked: InspectRequest) -> Looked:
    from lutbench.inspection.finding import SEVERITIES

    row: tuple[str, ...] = ()
    if not asked.as_json:
        from lutbench.cli.inspect_print import row_of

        row = row_of(found)
    return Looked(
        found.file or "",
        row,
        json_line(found.to_data()) if asked.as_json else "",
        found.kind,
        found.mid_grey_out,
        SEVERITIES.index(found.worst) if found.worst else -1,
        found.source_curve is None,
        found if asked.keep else None,
    )


def _unreadable(file: str, error: str, as_json: bool) -> Looked:
    from lutbench.cli.inspect_print import row_of_unreadable

    line = json_line({"schema": SCHEMA, "file": file, "error": error}) if as_json else ""
    return Looked(file, row_of_unreadable(error), line, error=error)


def _say_project() -> None:
    from lutbench.cli.project import project_here, say_taken

    if project := project_here():
        say_taken(project, f"recorded in {project.source}")


def _identified(found: Inspection, catalogue: Catalogue) -> Inspection:
    """The inspection with what its numbers say, where neither the user nor the file does."""
    from lutbench.inspection.identified import identified

    return found if found.known_by else identified(found, catalogue)[0]


def _sort_key(sort: str) -> Any:
    """What LUTs are sorted by; files that could not be read come last."""

    def key(each: Looked) -> tuple[Any, ...]:
        by = {"worst": -each.worst, "kind": each.kind, "grey": each.grey}[sort]
        return (bool(each.error), by, each.file.casefold())

    return key


def _status(looked: list[Looked], fail_on: str | None) -> int:
    from lutbench.inspection.finding import SEVERITIES

    if any(each.error for each in looked):
        return 2
    if fail_on is None:
        return 0
    return 1 if any(each.worst >= SEVERITIES.index(fail_on) for each in looked) else 0
