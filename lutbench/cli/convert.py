"""``lutbench convert``: a LUT into another format, size or signal range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    Reporting,
    changed_range_options,
    console,
    force_option,
    gathered,
    json_option,
    print_json,
)
from lutbench.cli.results import HOLDS, figure, put, refuse_existing, with_suffix
from lutbench.errors import LutbenchError
from lutbench.model.signal import RangeChange

if TYPE_CHECKING:
    from lutbench.formats.convert import Converted
    from lutbench.formats.registry import LutFile
    from lutbench.model.transforms import Transform
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
@gathered(form=TargetForm, ranges=RangeChange, text=TextOptions, report=Reporting)
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
    from lutbench.formats.convert import ConvertOptions, convert
    from lutbench.formats.open import read_lut_file

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
    data = _report(source, read, target, converted)
    put(target, converted.data, force=report.force)
    if report.as_json:
        print_json(data)
    else:
        _print(data)


def _report(
    source: str, read: LutFile[Transform], target: str, converted: Converted
) -> dict[str, Any]:
    import numpy as np

    from lutbench.measure.difference import Spread
    from lutbench.model.signal import CODES_10_BIT

    points, difference = converted.difference()
    codes = np.abs(difference).max(axis=-1) * CODES_10_BIT
    worst = int(codes.argmax())
    spread = Spread.of(codes)
    return {
        "source": _described(source, read),
        "target": _described(target, converted.read_back),
        "notes": list(converted.notes),
        "loss": {
            "inputs": len(points),
            "code_10bit": spread.to_data(),
            "worst": {
                "input": points[worst].tolist(),
                "wanted": converted.wanted.apply(points[worst]).tolist(),
                "given": converted.read_back.lut.apply(points[worst]).tolist(),
            },
        },
    }


def _described(name: str, file: LutFile[Transform]) -> dict[str, Any]:
    from lutbench.model.transforms import steps_of

    lut: Any = file.lut
    return {
        "file": name,
        "format": file.format,
        "kind": lut.kind,
        "steps": [step.kind for step in steps_of(lut)],
        "size": getattr(lut, "size", None),
        "domain": lut.domain.tolist() if hasattr(lut, "domain") else None,
        "title": file.title,
        "notes": list(file.notes),
    }


KINDS = HOLDS | {
    "cdl": "CDL",
    "cdl_inverse": "inverse CDL",
    "half_lut1d": "1D LUT over half-floats",
}


def _print(report: dict[str, Any]) -> None:
    from lutbench.cli.tables import plain_table

    screen = console()
    table = plain_table("", "file", "format", "holds", ">size")
    for word, side in (("from", report["source"]), ("to", report["target"])):
        steps = side["steps"]
        held = KINDS.get(side["kind"], side["kind"])
        if side["kind"] == "pipeline":
            held = ", ".join(KINDS.get(step, step) for step in steps)
        size = "–" if side["size"] is None else str(side["size"])
        table.add_row(word, side["file"], side["format"], held, size)
    screen.print(table)
    for side in (report["source"], report["target"]):
        for note in side["notes"]:
            screen.print(f"{side['file']}: {note}", style="dim", soft_wrap=True, markup=False)
    for note in report["notes"]:
        screen.print(note, soft_wrap=True, markup=False)
    loss = report["loss"]["code_10bit"]
    figures = ", ".join(
        f"{word} {figure(loss[key])}"
        for word, key in (("mean", "mean"), ("95 % under", "p95"), ("largest", "max"))
    )
    inputs = report["loss"]["inputs"]
    screen.print(f"loss over {inputs} inputs, in 10-bit codes: {figures}", soft_wrap=True)
