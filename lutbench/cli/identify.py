"""``lutbench identify``: name what is inside a LUT."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    EndOptions,
    Reporting,
    RunOptions,
    catalogue_of,
    definitions_option,
    end_options,
    force_option,
    grouped_options,
    json_line,
    json_option,
    print_json_line,
    say,
    worker_options,
)
from lutbench.cli.progress import progress
from lutbench.cli.spelling import with_options
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.identification import Identification

GROUPED = 100
"""The most LUTs that are grouped: each is compared with each, and all are kept in memory."""


@dataclass(frozen=True)
class IdentifyRequest:
    """What is asked about each file."""

    definitions: tuple[str, ...]
    pins: EndOptions
    as_json: bool
    keep: bool
    """Whether to return the identification itself, for groups or additional files."""


@dataclass(frozen=True)
class IdentifiedFile:
    """The result for one file as it is printed, or the error."""

    file: str
    row: tuple[str, ...] = ()
    line: str = ""
    """The report as JSON, with ``--json`` only."""
    found: Identification | None = None
    error: str = ""


@dataclass(frozen=True)
class Outputs:
    """Files that are written in addition to the report."""

    tone_curve: str | None
    definitions_out: str | None
    groups: str | None

    def check(self, many: bool, force: bool) -> None:
        """Refuse files that cannot be written before any LUT is read."""
        from lutbench import files as writing

        for option, path, what in (
            ("--tone-curve", self.tone_curve, "a tone curve"),
            ("--definitions-out", self.definitions_out, "a definition"),
            ("--groups", self.groups, "groups"),
        ):
            if path is None:
                continue
            if many and option != "--groups":
                raise LutbenchError(
                    f"{what} is written for one LUT only", where=option, accepted="one file"
                )
            writing.refuse_existing(Path(path), force)


@click.command()
@click.argument("luts", nargs=-1, required=True, metavar="LUT...")
@end_options(
    source_curve="The curve that goes in, if you know it.",
    source_gamut="The gamut that goes in, if you know it.",
    source_range="The range of the values that go in, if you know it.",
    target_curve="The curve of the output, if you know it.",
    target_gamut="The gamut of the output, if you know it.",
    target_range="The range of the values that come out, if you know it.",
)
@click.option(
    "--tone-curve",
    metavar="OUT.csv",
    help="Write the tone curve of one LUT as a table of light and signal, for definitions.",
)
@click.option(
    "--definitions-out",
    metavar="OUT.toml",
    help="Write an unnamed curve and gamut as definitions, a file for --definitions.",
)
@click.option(
    "--groups",
    metavar="OUT.json",
    help=f"Write which of up to {GROUPED} LUTs are equal or similar.",
)
@worker_options("LUTs")
@definitions_option
@json_option
@force_option
@grouped_options(pins=EndOptions, outputs=Outputs, report=Reporting, run=RunOptions)
def command(
    luts: tuple[str, ...],
    pins: EndOptions,
    outputs: Outputs,
    definitions: tuple[str, ...],
    report: Reporting,
    run: RunOptions,
) -> int:
    """Find what each LUT expects, what it gives, and how much of it is a look.

    LUT is a file, or a folder of LUTs. Errors are in 10-bit codes over the nodes
    of the LUT; a look is given in ΔE 2000. Several LUTs are worked on by all
    cores and get one line each, in order, then the groups that they form. With
    --json each line is a report of its own (JSON Lines).

    \b
    Example:
      lutbench identify unknown.cube
      lutbench identify luts/ --json
    """
    files, many = _files(luts)
    outputs.check(many, report.force)
    pins.found(catalogue_of(definitions))  # refuses unknown names before any LUT is read
    writes = outputs.tone_curve is not None or outputs.definitions_out is not None
    few = len(files) <= GROUPED
    grouped = few and (outputs.groups is not None or not report.as_json)
    if outputs.groups is not None and not few:
        raise LutbenchError(
            f"{len(files)} LUTs", where="--groups", accepted=f"up to {GROUPED} LUTs"
        )
    asked = IdentifyRequest(definitions, pins, report.as_json, not many or writes or grouped)
    if not many:
        return _one(files[0][0], asked, outputs, report)
    return _many(files, asked, outputs, report, run)


def _one(file: str, asked: IdentifyRequest, outputs: Outputs, report: Reporting) -> int:
    from lutbench.cli.identify_print import print_one

    found = _identified(file, asked)
    if outputs.tone_curve is not None:
        _write_tone_curve(found, file, outputs.tone_curve, report.force)
    if outputs.definitions_out is not None:
        _write_definitions(found, file, outputs.definitions_out, report.force)
    if outputs.groups is not None:
        _write_groups([], outputs.groups, report.force)
    if report.as_json:
        print_json_line({"file": file} | found.to_data())
    else:
        print_one(found)
    return 0


def _many(
    files: list[tuple[str, str]],
    asked: IdentifyRequest,
    outputs: Outputs,
    report: Reporting,
    run: RunOptions,
) -> int:
    from lutbench.cli.identify_print import COLUMNS, print_errors, print_groups
    from lutbench.cli.terminal import Lines
    from lutbench.long_work import run_parallel

    names = dict(files)
    known: list[tuple[str, Identification]] = []
    errors: list[str] = []
    lines = None if report.as_json else Lines("LUT", list(names.values()), COLUMNS)
    with progress("identifying", len(files), lines.screen if lines else None) as step:
        for done in run_parallel(
            identify_file, [file for file, _ in files], asked, run.workers(len(files))
        ):
            answer = done.value or _unreadable(done.item, done.error, asked.as_json)
            if lines is None:
                click.echo(answer.line)
            else:
                lines.print(names[answer.file], answer.row)
            if answer.error:
                errors.append(answer.error)
            elif answer.found is not None:
                known.append((answer.file, answer.found))
            step()
    if outputs.groups is not None:
        _write_groups(known, outputs.groups, report.force)
    if lines is not None:
        print_errors(errors)
        if len(files) > GROUPED:
            say(f"{len(files)} LUTs: only up to {GROUPED} are grouped")
        print_groups([(names[file], found) for file, found in known])
    return 2 if errors else 0


def identify_file(file: str, asked: IdentifyRequest) -> IdentifiedFile:
    """The result for one file; called in this process or in another."""
    from lutbench.cli.identify_print import row_of

    try:
        found = _identified(file, asked)
    except LutbenchError as error:
        return _unreadable(file, with_options(str(error)), asked.as_json)
    line = json_line({"file": file} | found.to_data()) if asked.as_json else ""
    return IdentifiedFile(file, row_of(found), line, found if asked.keep else None)


def _unreadable(file: str, error: str, as_json: bool) -> IdentifiedFile:
    from lutbench.cli.identify_print import NOT_READ

    line = json_line({"file": file, "error": error}) if as_json else ""
    return IdentifiedFile(file, NOT_READ, line, error=error)


def _identified(file: str, asked: IdentifyRequest) -> Identification:
    import lutbench
    from lutbench.identification import identify

    try:
        lut = lutbench.open_lut(file)
        return identify(lut, catalogue=catalogue_of(asked.definitions), **vars(asked.pins))
    except LutbenchError as error:
        if error.where:
            raise
        raise LutbenchError(error.what, where=file, accepted=error.accepted) from error


def _files(given: tuple[str, ...]) -> tuple[list[tuple[str, str]], bool]:
    """Pairs of path and name to show, and whether there may be several."""
    from lutbench.formats.registry import lut_files

    files, many = lut_files(given, luts_only=True)
    # Files of the same name in several folders are shown with their whole path.
    shown = [_short(each.name) for each in files]
    return [
        (each.path, short if shown.count(short) == 1 else each.path)
        for each, short in zip(files, shown, strict=True)
    ], many


def _short(name: str) -> str:
    """A name without its suffix, where that is a suffix of LUT files."""
    from lutbench.formats.registry import suffixes

    return str(Path(name).with_suffix("")) if Path(name).suffix.lower() in suffixes() else name


def _write_tone_curve(found: Identification, file: str, path: str, force: bool) -> None:
    from lutbench import files as writing
    from lutbench.identification.tone import tone_csv

    tone = found.tone
    if tone is None:
        why = f"the kind is {found.kind}" if found.best else "none was identified"
        raise LutbenchError(
            f"no tone curve to write: {why}",
            where=file,
            accepted="a LUT that changes tone, with a known source curve",
        )
    writing.write_text(path, tone_csv(tone, found), force=force)
    say(f"{path}: tone curve written, {len(tone.curve)} rows")


def _write_definitions(found: Identification, file: str, path: str, force: bool) -> None:
    from lutbench import files as writing

    measured = found.measured
    if measured is None:
        raise LutbenchError(
            "no definition to write: each curve and gamut has a name, or cannot be measured",
            where=file,
            accepted="a LUT with a source curve or gamut that is not in the catalogue",
        )
    writing.write_text(path, measured.toml(), force=force)
    click.echo(f"{path}: definitions written", err=True)


def _write_groups(known: list[tuple[str, Identification]], path: str, force: bool) -> None:
    from lutbench import files as writing
    from lutbench.identification.groups import groups_of

    groups = [group.to_data() for group in groups_of(known)]
    text = writing.json_text({"schema": 1, "groups": groups}, indent=2)
    writing.write_text(path, text + "\n", force=force)
    say(f"{path}: groups written")
