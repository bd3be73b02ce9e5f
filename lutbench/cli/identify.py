"""``lutbench identify``: name what is inside a LUT."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    Reporting,
    catalogue_of,
    definitions_option,
    force_option,
    gathered,
    json_option,
    print_json,
)
from lutbench.cli.saying import is_quiet, say
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.identification import Identification
    from lutbench.model.catalogue import Catalogue

SCHEMA = 1


@dataclass(frozen=True)
class Answer:
    """What was found of one file: an identification, or why there is none."""

    file: str
    name: str
    """The file as the table shows it."""
    found: Identification | None = None
    error: str = ""


@dataclass(frozen=True)
class Outputs:
    """Files that are written beside the report, of one LUT."""

    tone_curve: str | None
    definitions_out: str | None

    def check(self, many: bool, force: bool) -> None:
        """Refuse, before the work, what cannot be written."""
        from lutbench import files as writing

        for option, path, what in (
            ("--tone-curve", self.tone_curve, "a tone curve"),
            ("--definitions-out", self.definitions_out, "a definition"),
        ):
            if path is None:
                continue
            if many:
                raise LutbenchError(f"{what} is that of one LUT", where=option, accepted="one file")
            writing.refuse_existing(Path(path), force)


@click.command()
@click.argument("luts", nargs=-1, required=True, metavar="LUT...")
@click.option("--source-curve", metavar="NAME", help="The curve that goes in, where you know it.")
@click.option("--source-gamut", metavar="NAME", help="The gamut that goes in, where you know it.")
@click.option(
    "--source-range",
    type=click.Choice(["full", "legal"]),
    help="The range of the values that go in, where you know it.",
)
@click.option("--target-curve", metavar="NAME", help="The curve that comes out.")
@click.option("--target-gamut", metavar="NAME", help="The gamut that comes out.")
@click.option(
    "--target-range",
    type=click.Choice(["full", "legal"]),
    help="The range of the values that come out.",
)
@click.option(
    "--tone-curve",
    metavar="OUT.csv",
    help="Write the tone curve of one LUT as a table of light and signal, for definitions.",
)
@click.option(
    "--definitions-out",
    metavar="OUT.toml",
    help="Write the curve and the gamut that have no name as definitions that --definitions reads.",
)
@definitions_option
@json_option
@force_option
@gathered(outputs=Outputs, report=Reporting)
def command(
    luts: tuple[str, ...],
    outputs: Outputs,
    definitions: tuple[str, ...],
    report: Reporting,
    **pins: str | None,
) -> int:
    """Say what each LUT expects, what it gives, and what of it is a look.

    LUT is a file, or a folder whose LUTs are all looked at. Errors are in
    10-bit codes over the nodes of the LUT; a look is told in ΔE 2000. Several
    LUTs get a line each, and the groups they fall into.

    \b
    Example:
      lutbench identify unknown.cube
    """
    from lutbench.cli.identify_print import print_many, print_one

    files, many = _files(luts)
    outputs.check(many, report.force)
    catalogue = catalogue_of(definitions)
    _check_names(catalogue, pins)
    answers = []
    with _progress(len(files)) as step:
        for file, name in files:
            answers.append(_answer(file, name, catalogue, pins, many))
            step()
    if outputs.tone_curve is not None:
        _write_tone_curve(answers[0], outputs.tone_curve, report.force)
    if outputs.definitions_out is not None:
        _write_definitions(answers[0], outputs.definitions_out, report.force)
    if report.as_json:
        _print_as_json(answers, many)
    elif many:
        print_many(answers)
    else:
        assert answers[0].found is not None
        print_one(answers[0].found)
    return 2 if any(each.found is None for each in answers) else 0


def _check_names(catalogue: Catalogue, pins: dict[str, str | None]) -> None:
    """Refuse a name that is not known before the work, saying which option gave it."""
    for key, value in pins.items():
        if value is None or key.endswith("range"):
            continue
        look = catalogue.curve if key.endswith("curve") else catalogue.gamut
        look(value, where=f"--{key.replace('_', '-')}")


def _answer(
    file: str, name: str, catalogue: Catalogue, pins: dict[str, str | None], many: bool
) -> Answer:
    import lutbench
    from lutbench.identification import identify

    try:
        lut = lutbench.open_lut(file)
        return Answer(file, name, identify(lut, catalogue=catalogue, **pins))
    except LutbenchError as error:
        told = (
            error if error.where else LutbenchError(error.what, where=file, accepted=error.accepted)
        )
        if not many:
            raise told from error
        return Answer(file, name, error=str(told))


def _files(given: tuple[str, ...]) -> tuple[list[tuple[str, str]], bool]:
    """Files and the names to show, and whether several may come."""
    from lutbench.formats.folders import lut_files

    files, many = lut_files(given, luts_only=True)
    # Files of one name in several places are told apart by their whole path.
    shown = [_short(each.name) for each in files]
    return [
        (each.path, short if shown.count(short) == 1 else each.path)
        for each, short in zip(files, shown, strict=True)
    ], many


def _short(name: str) -> str:
    """A name without the suffix of a LUT, which says nothing."""
    from lutbench.formats.registry import suffixes

    return str(Path(name).with_suffix("")) if Path(name).suffix.lower() in suffixes() else name


@contextmanager
def _progress(total: int) -> Iterator[Any]:
    """A bar on a terminal while many LUTs are looked at."""
    if total < 3 or is_quiet() or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("identifying"), BarColumn(bar_width=None), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("identifying", total=total)
        yield lambda: bar.advance(task)


def _write_tone_curve(answer: Answer, path: str, force: bool) -> None:
    from lutbench import files as writing
    from lutbench.identification.tone import tone_csv

    found = answer.found
    tone = found.tone if found is not None else None
    if found is None or tone is None:
        why = f"the kind is {found.kind}" if found is not None and found.best else "none is known"
        raise LutbenchError(
            f"no tone curve to write: {why}",
            where=answer.file,
            accepted="a LUT that changes tone, of a source curve that is known",
        )
    writing.write_text(path, tone_csv(tone, found), force=force)
    say(f"{path}: tone curve written, {len(tone.curve)} rows")


def _write_definitions(answer: Answer, path: str, force: bool) -> None:
    from lutbench import files as writing

    measured = answer.found.measured if answer.found is not None else None
    if measured is None:
        raise LutbenchError(
            "no definition to write: every part that the LUT shows has a name, or shows too little",
            where=answer.file,
            accepted="a LUT with a source curve or gamut that is not in the catalogue",
        )
    writing.write_text(path, measured.toml(), force=force)
    click.echo(f"{path}: definitions written", err=True)


def _print_as_json(answers: list[Answer], many: bool) -> None:
    data = [
        {"file": each.file}
        | (each.found.to_data() if each.found is not None else {"error": each.error})
        for each in answers
    ]
    if not many:
        print_json(data[0])
        return
    from lutbench.identification.groups import groups_of

    known = [(each.file, each.found) for each in answers if each.found is not None]
    groups = [group.to_data() for group in groups_of(known)]
    print_json({"schema": SCHEMA, "luts": data, "groups": groups})
