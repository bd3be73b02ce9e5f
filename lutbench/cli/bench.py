"""``lutbench bench``: a set of LUTs as a page to look, expose and measure with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    EndOptions,
    Reporting,
    catalogue_of,
    definitions_option,
    end_options,
    force_option,
    grouped_options,
    json_option,
    note,
    print_json,
    range_options,
)
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.bench.gather import Order


@dataclass(frozen=True)
class Showing:
    """Where the bench is written or served, and with which stills."""

    output: str | None
    stills: tuple[str, ...]
    serve: bool
    port: int


@click.command()
@click.argument("source", metavar="RECIPE|FOLDER|LUT")
@click.option(
    "-o",
    "--output",
    metavar="OUT.html",
    help="The page to write. [default: bench.html; none with --serve]",
)
@click.option(
    "--still",
    "stills",
    multiple=True,
    metavar="FILE",
    help="A still of your own, as it was recorded, in any format. May be given more than once.",
)
@click.option(
    "--serve",
    is_flag=True,
    help="Serve the page to this machine only, and reload it when files change.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    metavar="NUMBER",
    help="The port to serve on. [default: a free one]",
)
@end_options(
    source_curve="The curve of the recording, for LUT files.",
    source_gamut="The gamut of the recording, for LUT files.",
    target_curve="The curve of the LUTs' output, for LUT files.",
    target_gamut="The gamut of the LUTs' output. [default: BT.709]",
)
@range_options
@definitions_option
@json_option
@force_option
@grouped_options(names=EndOptions, showing=Showing, report=Reporting)
def command(
    source: str,
    names: EndOptions,
    definitions: tuple[str, ...],
    showing: Showing,
    report: Reporting,
) -> None:
    """Write a set of LUTs as one page for viewing, exposing and measuring, offline.

    The page opens in any browser with WebGL 2, on a phone too, and loads nothing
    from the network. A recipe states what the recording is; for LUT files name it
    with --source-curve and --source-gamut, or it is identified where that is
    certain. --still adds TIFF, OpenEXR, DPX and other stills.

    \b
    Example:
      lutbench bench luts_demo/salt_road.toml -o bench.html
      lutbench bench day.cube --source-curve ACEScct --source-gamut "ACES AP1"
    """
    from lutbench.bench.gather import KnownEnds, Order

    catalogue = catalogue_of(definitions)
    path = Path(source)
    if not path.exists():
        raise LutbenchError("there is no such file or folder", where=source)
    given = (names.source_curve, names.source_gamut, names.target_curve, names.target_gamut)
    if path.suffix.lower() == ".toml" and any(given):
        raise LutbenchError(
            "a recipe states its own curves and gamuts",
            where=path,
            accepted="no --source-curve, --source-gamut, --target-curve, --target-gamut",
        )
    ends = KnownEnds(**names.found(catalogue))
    order = Order(path, ends, tuple(map(Path, showing.stills)), catalogue)
    if showing.output or not showing.serve:
        _write(order, showing.output or "bench.html", report)
    if showing.serve:
        _serve(order, showing.port)


def _write(order: Order, output: str, report: Reporting) -> None:
    from lutbench.bench.page import write_bench

    if Path(output).suffix.lower() not in (".html", ".htm"):
        raise LutbenchError("is not a page", where=output, accepted="a name that ends in .html")
    data = write_bench(order, output, force=report.force)
    size = Path(output).stat().st_size
    if report.as_json:
        print_json(_report(data, output, size))
        return
    for each in data["notes"]:
        note(each)
    luts = "1 LUT" if len(data["luts"]) == 1 else f"{len(data['luts'])} LUTs"
    worst = max(each["packing_error"] for each in data["luts"])
    click.echo(
        f"{output}: {luts}, {len(data['stills'])} stills, {size / 1e6:.1f} MB; "
        f"LUTs packed within {worst:.1g} of a 10-bit code"
    )
    if not data["sources"]:
        click.echo("the recording's curve is not known: name --source-curve to expose in stops")


def _report(data: dict[str, Any], output: str, size: int) -> dict[str, Any]:
    """What the page holds, without its tables and pictures."""

    def chosen(of: dict[str, Any], *keys: str) -> dict[str, Any]:
        return {key: of[key] for key in keys}

    sources = [chosen(each, "curve", "gamut", "range", "told") for each in data["sources"]]
    return {
        "file": output,
        "bytes": size,
        "source": sources[0] if sources else None,
        "luts": [
            chosen(each, "name", "title", "packing_error", "sampling_error")
            for each in data["luts"]
        ],
        "stills": [chosen(each, "name", "note") for each in data["stills"]],
        "notes": data["notes"],
    }


def _serve(order: Order, port: int) -> None:
    from lutbench.bench.serve import BenchServer

    with BenchServer(order, port) as server:
        click.echo(f"{server.address}\n(for this machine only; Ctrl-C ends it)")
        try:
            server.run()
        except KeyboardInterrupt:
            click.echo("ended")
