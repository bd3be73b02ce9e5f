"""``lutbench convert``: a LUT into another format, size or signal range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    Reporting,
    changed_range_options,
    force_option,
    grouped_options,
    json_option,
    print_json,
)
from lutbench.cli.results import HOLDS, figure, put, refuse_existing, with_suffix
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError
from lutbench.model.signal import RangeChange

if TYPE_CHECKING:
    from lutbench.formats.convert import ConvertedFile, Loss
    from lutbench.tables.lut import Interpolation


@dataclass(frozen=True)
class TargetForm:
    """The form of the LUT in OUT."""

    size: int | None
    dimensions: str | None
    interpolation: Interpolation | None


@dataclass(frozen=True)
class TextOptions:
    """The title, and how numbers are written."""

    title: str | None
    decimals: int
    exact: bool


@click.command()
@click.argument("source", metavar="IN")
@click.argument("target", metavar="OUT")
@click.option(
    "--size", type=int, metavar="N", help="Nodes along an edge (2 to 256), or rows of a 1D LUT."
)
@click.option(
    "--dimensions",
    type=click.Choice(["1", "3"]),
    help="A 1D or a 3D LUT. [default: as IN; 3 where IN is not a LUT]",
)
@changed_range_options("IN", "OUT")
@click.option(
    "--interpolation",
    type=click.Choice(["tetrahedral", "trilinear"]),
    help="Interpolation between the nodes of a 3D LUT. [default: as IN says, else tetrahedral]",
)
@click.option("--title", metavar="TEXT", help="The title of OUT. [default: that of IN]")
@click.option(
    "--decimals",
    type=click.IntRange(0, 16),
    default=6,
    show_default=True,
    metavar="N",
    help="Digits after the point in a .cube.",
)
@click.option("--exact", is_flag=True, help="In a .cube: as many digits as the values need.")
@force_option
@json_option
@grouped_options(form=TargetForm, ranges=RangeChange, text=TextOptions, report=Reporting)
def command(
    source: str,
    target: str,
    form: TargetForm,
    ranges: RangeChange,
    text: TextOptions,
    report: Reporting,
) -> None:
    """Convert the LUT or transform IN to the format that OUT's suffix names.

    Reads and writes .cube, CLF (.clf) and CDL (.cdl, .cc, .ccc); FILE#ID takes one
    correction of several. A step that CLF has an operator for is written as that
    operator; the rest is sampled. OUT is read back and compared with IN: the
    difference is printed.

    \b
    Examples:
      lutbench convert day.cube day.clf
      lutbench convert day.cube monitor.cube --size 17 --target-range legal
    """
    from lutbench.formats.convert import ConvertedFile, ConvertOptions, convert
    from lutbench.formats.registry import read_lut_file

    refuse_existing(target, report.force, as_json=report.as_json)
    if text.exact and click.get_current_context().get_parameter_source("decimals") is not (
        click.core.ParameterSource.DEFAULT
    ):
        raise LutbenchError("--exact and --decimals exclude each other", accepted="one of them")
    read = read_lut_file(source)
    options = ConvertOptions(
        size=form.size,
        dimensions=int(form.dimensions) if form.dimensions else None,
        ranges=ranges,
        interpolation=form.interpolation,
        title=text.title,
        decimals=None if text.exact else text.decimals,
    )
    converted = convert(read, with_suffix(target), options)
    sides = ConvertedFile.of(source, read), ConvertedFile.of(target, converted.read_back)
    notes, loss = converted.notes, converted.loss
    put(target, converted.data, force=report.force)
    if report.as_json:
        data = {"source": sides[0].to_data(), "target": sides[1].to_data()}
        print_json({**data, "notes": list(notes), "loss": loss.to_data()})
    else:
        _print(sides, notes, loss)


KINDS = HOLDS | {
    "cdl": "CDL",
    "cdl_inverse": "inverse CDL",
    "half_lut1d": "1D LUT over half-floats",
}


def _print(sides: tuple[ConvertedFile, ConvertedFile], notes: tuple[str, ...], loss: Loss) -> None:
    from lutbench.cli.tables import plain_table

    screen = console()
    table = plain_table("", "file", "format", "holds", ">size")
    for word, side in zip(("from", "to"), sides, strict=True):
        held = side.steps if side.kind == "pipeline" else [side.kind]
        size = "–" if side.size is None else str(side.size)
        words = ", ".join(KINDS.get(each, each) for each in held)
        table.add_row(word, side.file, side.format, words, size)
    screen.print(table)
    for side in sides:
        for note in side.notes:
            screen.print(f"{side.file}: {note}", style="dim", soft_wrap=True, markup=False)
    for note in notes:
        screen.print(note, soft_wrap=True, markup=False)
    codes = loss.code_10bit
    screen.print(
        f"loss over {loss.inputs} inputs, in 10-bit codes: mean {figure(codes.mean)},"
        f" 95 % under {figure(codes.p95)}, largest {figure(codes.max)}",
        soft_wrap=True,
    )
