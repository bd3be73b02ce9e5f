"""``lutbench match``: match one camera to another, from a chart."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    EndOptions,
    catalogue_of,
    definitions_option,
    force_option,
    grouped_options,
    json_option,
    print_json,
)
from lutbench.cli.results import NewLut, fitted_size_option, print_written, title_option, write_lut
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.fitting.match_report import CameraMatch
    from lutbench.media.chart.patches import Patches
    from lutbench.model.conversion import Encoding


@dataclass(frozen=True)
class Chart:
    """Where the chart is in the two stills."""

    source_corners: str | None
    target_corners: str | None
    grid: str


@dataclass(frozen=True)
class MatchFit:
    """What is fitted, and the size of the LUT."""

    residual: bool
    size: int
    definitions: tuple[str, ...]


@click.command()
@click.argument("source")
@click.argument("target", required=False)
@click.option("-o", "--output", required=True, metavar="OUT", help="The LUT to write.")
@click.option("--source-curve", required=True, metavar="NAME", help="The curve of SOURCE.")
@click.option(
    "--source-gamut",
    metavar="NAME",
    help="The gamut of SOURCE, for the difference before the match. [default: that of TARGET]",
)
@click.option("--target-curve", required=True, metavar="NAME", help="The curve of TARGET.")
@click.option("--target-gamut", required=True, metavar="NAME", help="The gamut of TARGET.")
@click.option(
    "--source-corners",
    metavar="X,Y ...",
    help="For a still: the centres of the four corner patches in pixels, as "
    '"X,Y X,Y X,Y X,Y", clockwise from the first patch of the first row.',
)
@click.option("--target-corners", metavar="X,Y ...", help="As --source-corners, for TARGET.")
@click.option(
    "--grid",
    default="6x4",
    show_default=True,
    metavar="CxR",
    help="Columns and rows of the chart in a still.",
)
@click.option("--residual", is_flag=True, help="Also fit a smooth residual after the matrix.")
@fitted_size_option
@title_option
@definitions_option
@force_option
@json_option
@grouped_options(ends=EndOptions, chart=Chart, fit=MatchFit, new=NewLut)
def command(
    source: str,
    target: str | None,
    ends: EndOptions,
    chart: Chart,
    fit: MatchFit,
    new: NewLut,
) -> None:
    """Match the camera that recorded SOURCE to the one that recorded TARGET.

    Both show the same chart: a still with the positions of its corner patches, or a
    CSV file with the columns name, R, G, B (signal 0 to 1). Without TARGET the
    published values of a measured 24-patch chart are the target. Exposure, white
    balance and a matrix are fitted. Each patch is also predicted from the others,
    which shows how well the match holds for colours that are not on the chart.

    \b
    Example:
      lutbench match in.png --source-curve ACEScct --source-gamut ACEScg \\
          --source-corners "8,6 88,6 88,42 8,42" \\
          --target-curve BT.1886 --target-gamut BT.709 -o match.cube
    """
    from lutbench.fitting.camera_match import match_cameras

    source_end, target_end = _encodings(ends, fit.definitions)
    first = _patches(source, chart.source_corners, chart.grid, "--source-corners")
    if target is None:
        second = _published(target_end)
    else:
        second = _patches(target, chart.target_corners, chart.grid, "--target-corners")
    if len(first.signal) != len(second.signal):
        raise LutbenchError(
            f"{len(first.signal)} patches on one side, {len(second.signal)} on the other",
            accepted="the same chart",
        )
    match = match_cameras(
        first.signal,
        second.signal,
        source_end,
        target_end,
        names=second.names if target is None else first.names,
        residual=fit.residual,
    )
    lut = match.lut(fit.size, title=new.title)
    write_lut(lut, new.output, force=new.force)
    if new.as_json:
        print_json({"file": new.output, "source": source, "target": target} | match.to_data())
    else:
        print_written(lut, new.output)
        _print(match)


def _encodings(ends: EndOptions, definitions: tuple[str, ...]) -> tuple[Encoding, Encoding]:
    """Source and target encodings; a source without a gamut gets that of the target."""
    from lutbench.model.conversion import Encoding

    found = ends.found(catalogue_of(definitions))
    to_gamut = found["target_gamut"]
    return (
        Encoding(found["source_curve"], found["source_gamut"] or to_gamut),
        Encoding(found["target_curve"], to_gamut),
    )


def _patches(name: str, corners: str | None, grid: str, option: str) -> Patches:
    from lutbench.media.chart.patches import read_grid, read_patch_table
    from lutbench.media.names import STILL_SUFFIXES
    from lutbench.media.still.still import read_still

    if not name.lower().endswith(tuple(STILL_SUFFIXES)):
        return read_patch_table(name)
    accepted = '"X,Y X,Y X,Y X,Y", the centres of the four corner patches in pixels'
    if corners is None:
        raise LutbenchError(
            "a still needs the positions of its patches", where=option, accepted=accepted
        )
    numbers = re.findall(r"-?\d+(?:\.\d+)?", corners)
    if len(numbers) != 8:
        raise LutbenchError(f"{corners!r} is not four points", where=option, accepted=accepted)
    parts = re.fullmatch(r"(\d{1,3})[xX×](\d{1,3})", grid.strip())
    if parts is None:
        raise LutbenchError(f"a grid of {grid!r}", where="--grid", accepted="COLUMNSxROWS")
    points = [[float(x), float(y)] for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
    return read_grid(read_still(name).signal(), points, int(parts[1]), int(parts[2]), name)


def _published(target: Encoding) -> Patches:
    """The measured chart in the target's encoding."""
    from lutbench.measure.samples import chart24, chart_light
    from lutbench.media.chart.patches import Patches

    return Patches(chart24()[0], target.curve.encode(chart_light(target.gamut)))


def _print(match: CameraMatch) -> None:
    from lutbench.cli.tables import plain_table

    screen = console()
    red, green, blue = match.white_balance
    screen.print(
        f"exposure {match.exposure_stops:+.2f} stops, white balance {red:.3f} {green:.3f}"
        f" {blue:.3f}",
        soft_wrap=True,
    )
    for row in match.matrix:
        screen.print("matrix   " + "  ".join(f"{value:8.4f}" for value in row))
    if match.residual_rms:
        screen.print(f"residual {match.residual_rms * 1023:.1f} codes (10-bit) at the patches")
    table = plain_table("ΔE 2000", ">before", ">after", ">left out")
    for each in match.patches:
        figures = [f"{value:.2f}" for value in (each.before, each.after, each.left_out)]
        shown = figures if each.used else ["", "", "not used"]
        table.add_row(each.name, *shown)
    spreads = [match.spread(what) for what in ("before", "after", "left_out")]
    table.add_row("mean", *(f"{each.mean:.2f}" for each in spreads), style="bold")
    table.add_row("largest", *(f"{each.max:.2f}" for each in spreads), style="bold")
    screen.print(table)
    screen.print("left out: each patch predicted by a match fitted to the others", style="dim")
    for note in match.notes:
        screen.print(note, soft_wrap=True, markup=False)
