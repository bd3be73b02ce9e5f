"""``lutbench bench``: a set of LUTs as a page to look, expose and measure with."""

from __future__ import annotations

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
    note,
    print_json,
    range_options,
)
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.bench.gather import KnownEnds, Order
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.curves.base import Curve
    from lutbench.model.gamuts import Gamut
    from lutbench.model.signal import Range


@dataclass(frozen=True)
class Names:
    """The encodings before and after LUT files, as the options name them."""

    source_curve: str | None
    source_gamut: str | None
    target_curve: str | None
    target_gamut: str | None
    source_range: Range | None
    target_range: Range | None
    definitions: tuple[str, ...]


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
@click.option("--source-curve", metavar="NAME", help="The curve of the recording, for LUT files.")
@click.option("--source-gamut", metavar="NAME", help="The gamut of the recording, for LUT files.")
@click.option(
    "--target-curve", metavar="NAME", help="The curve of the LUTs' output, for LUT files."
)
@click.option(
    "--target-gamut", metavar="NAME", help="The gamut of the LUTs' output. [default: BT.709]"
)
@range_options
@definitions_option
@json_option
@force_option
@gathered(names=Names, showing=Showing, report=Reporting)
def command(source: str, names: Names, showing: Showing, report: Reporting) -> None:
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
    from lutbench.bench.gather import Order

    catalogue = catalogue_of(names.definitions)
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
    order = Order(path, _ends(catalogue, names), tuple(map(Path, showing.stills)), catalogue)
    if showing.output or not showing.serve:
        _write(order, showing.output or "bench.html", report)
    if showing.serve:
        _serve(order, showing.port)


def _ends(catalogue: Catalogue, names: Names) -> KnownEnds:
    from lutbench.bench.gather import KnownEnds

    def curve(name: str | None, where: str) -> Curve | None:
        return catalogue.curve(name, where=where) if name else None

    def gamut(name: str | None, where: str) -> Gamut | None:
        return catalogue.gamut(name, where=where) if name else None

    return KnownEnds(
        curve(names.source_curve, "--source-curve"),
        gamut(names.source_gamut, "--source-gamut"),
        names.source_range,
        curve(names.target_curve, "--target-curve"),
        gamut(names.target_gamut, "--target-gamut"),
        names.target_range,
    )


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
