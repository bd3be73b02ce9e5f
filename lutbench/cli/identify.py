"""``lutbench identify``: name what is inside a LUT."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    catalogue_of,
    console,
    definitions_option,
    json_option,
    print_json,
)
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.analysis.identify import Candidate, Identification

SCHEMA = 1
SUFFIXES = (".cube", ".clf")


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
@definitions_option
@json_option
def command(
    luts: tuple[str, ...], definitions: tuple[str, ...], as_json: bool, **pins: str | None
) -> int:
    """Say what each LUT expects, what it gives, and what of it is a look.

    LUT is a file, or a folder whose LUTs are all looked at. Errors are in
    10-bit codes over the nodes of the LUT; a look is told in ΔE 2000. Several
    LUTs get a line each, and the groups they fall into.

    \b
    Example:
      lutbench identify unknown.cube
    """
    catalogue = catalogue_of(definitions)
    files = _files(luts)
    results: list[tuple[str, Identification | str]] = []
    for file in files:
        try:
            results.append((file, _identified(file, catalogue, pins)))
        except LutbenchError as error:
            if len(files) == 1:
                raise
            results.append((file, str(error)))
    if as_json:
        _print_as_json(results)
    elif len(results) == 1:
        _print_one(results[0][1])
    else:
        _print_many(results)
    return 2 if any(isinstance(result, str) for _, result in results) else 0


def _identified(file: str, catalogue: Any, pins: dict[str, str | None]) -> Identification:
    import lutbench
    from lutbench.analysis.identify import identify

    lut = lutbench.open_lut(file)
    try:
        return identify(lut, catalogue=catalogue, **pins)
    except LutbenchError as error:
        if error.where:
            raise
        raise LutbenchError(error.what, where=file, accepted=error.accepted) from error


def _files(given: tuple[str, ...]) -> list[str]:
    files: list[str] = []
    for name in given:
        path = Path(name)
        if path.is_dir():
            inside = sorted(each for each in path.iterdir() if each.suffix.lower() in SUFFIXES)
            if not inside:
                raise LutbenchError(
                    "the folder holds no LUT", where=name, accepted=" or ".join(SUFFIXES)
                )
            files += map(str, inside)
        else:
            files.append(name)
    return files


def _print_as_json(results: list[tuple[str, Identification | str]]) -> None:
    data = [
        {"file": file} | ({"error": result} if isinstance(result, str) else result.to_data())
        for file, result in results
    ]
    if len(data) == 1:
        print_json(data[0])
        return
    from lutbench.analysis.identify.groups import groups_of

    known = [(file, result) for file, result in results if not isinstance(result, str)]
    groups = [{"differ_in": list(why), "files": list(names)} for why, names in groups_of(known)]
    print_json({"schema": SCHEMA, "luts": data, "groups": groups})


def _print_one(result: Identification | str) -> None:
    if isinstance(result, str):
        return
    screen = console()
    screen.print(result.explanation, markup=False)
    screen.print(f"\nkind {result.kind}, confidence {result.confidence}", markup=False)
    if result.candidates:
        screen.print()
        screen.print(_candidate_table(result.candidates))
    for note in result.notes:
        screen.print(f"\nnote: {note}", markup=False)


def _candidate_table(candidates: tuple[Candidate, ...]) -> Any:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("source", overflow="fold")
    table.add_column("target", overflow="fold")
    table.add_column("exposure\nstops", justify="right")
    table.add_column("error, codes\nmedian", justify="right")
    table.add_column("\np95", justify="right")
    table.add_column("cannot be told from", overflow="fold", style="dim")
    for each in candidates:
        table.add_row(
            _side(each.source),
            _side(each.target),
            f"{each.exposure_stops:+.2f}",
            f"{each.error_median:.2f}",
            f"{each.error_p95:.2f}",
            "; ".join(
                f"{name.replace('_', ' ')} {_some(values)}"
                for name, values in each.same_as.to_data().items()
                if values
            ),
        )
    return table


def _side(side: Any) -> str:
    parts = [side.curve or "a tone curve of its own", side.gamut or "any gamut"]
    if side.rendering == "display":
        parts[0] += " (display light)"
    return f"{parts[0]}\n{parts[1]}, {side.range}"


def _some(names: list[str]) -> str:
    """The first names of a long list; --json has them all."""
    shown = ", ".join(names[:3])
    return shown if len(names) <= 3 else f"{shown} and {len(names) - 3} more"


def _print_many(results: list[tuple[str, Identification | str]]) -> None:
    from rich.table import Table

    from lutbench.analysis.identify.groups import groups_of

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("LUT", overflow="fold")
    table.add_column("kind")
    table.add_column("source", overflow="fold")
    table.add_column("target", overflow="fold")
    table.add_column("stops", justify="right")
    table.add_column("look")
    table.add_column("sure")
    for file, result in results:
        name = Path(file).name
        if isinstance(result, str):
            table.add_row(name, "not read", result)
            continue
        best = result.best
        look = f"ΔE {result.look.median:.1f}" if result.look.present else "none"
        if best is None:
            table.add_row(name, result.kind, "", "", "", look, result.confidence)
            continue
        stops = f"{best.exposure_stops:+.2f}"
        sides = (_side(best.source), _side(best.target))
        table.add_row(name, result.kind, *sides, stops, look, result.confidence)
    screen = console()
    screen.print(table)
    known = [(file, result) for file, result in results if not isinstance(result, str)]
    for why, names in groups_of(known):
        shown = ", ".join(Path(name).name for name in names)
        differ = f"differ only in {' and '.join(why)}" if why else "are alike"
        screen.print(f"\nThese {len(names)} {differ}: {shown}", markup=False)
