"""``lutbench split``: split a LUT into its parts."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    Reporting,
    catalogue_of,
    definitions_option,
    force_option,
    grouped_options,
    json_option,
    print_json,
)
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.measure.difference import Spread
    from lutbench.splitting.split import Part, Split

PARTS = ("curve", "gamut", "look")


@click.command()
@click.argument("lut")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="PATH",
    help="The folder for the parts; with --keep or --drop, the .cube file to write.",
)
@click.option(
    "--keep",
    type=click.Choice(PARTS),
    multiple=True,
    help="Write one LUT with this part only. May be given twice, for two of the parts.",
)
@click.option(
    "--drop",
    type=click.Choice(PARTS),
    help="Write one LUT without this part: the same as keeping the other two.",
)
@definitions_option
@force_option
@json_option
@grouped_options(report=Reporting)
def command(
    lut: str,
    output: str,
    keep: tuple[Part, ...],
    drop: Part | None,
    definitions: tuple[str, ...],
    report: Reporting,
) -> None:
    """Split LUT into gamut, curve and look, each as a LUT, and write a recipe.

    Chained in this order the parts give LUT back; the error is measured and printed.
    The recipe builds the nearest LUT without a look. A look that is a CDL is also
    written as a CDL.

    \b
    Examples:
      lutbench split unknown.cube -o parts
      lutbench split unknown.cube --drop look -o clean.cube
      lutbench split unknown.cube --keep gamut -o gamut_only.cube
    """
    from lutbench.cli.results import put
    from lutbench.formats.cube_write import format_cube
    from lutbench.formats.registry import open_lut
    from lutbench.splitting.files import write_parts
    from lutbench.splitting.split import split

    kept = _kept(keep, drop)
    _refuse_output(output, bool(kept), report)
    catalogue = catalogue_of(definitions)
    opened = open_lut(lut)
    try:
        parts = split(opened, catalogue=catalogue)
        if kept:
            put(output, format_cube(parts.kept(set(kept)), signed=True), force=report.force)
            written = [output]
        else:
            written = write_parts(
                parts, output, stem=Path(lut).stem, catalogue=catalogue, force=report.force
            )
    except LutbenchError as error:
        if error.where:
            raise
        raise LutbenchError(error.what, where=lut, accepted=error.accepted) from error
    if report.as_json:
        data = {"file": lut, "kept": sorted(kept), "written": written}
        print_json(data | parts.to_data(), schema=2)
        return
    screen = console()
    screen.print(parts.identification.explanation)
    for path in written:
        screen.print(f"wrote {path}", soft_wrap=True)
    for line in _kept_in_words(parts, kept) if kept else _parts_in_words(parts):
        screen.print(line)
    for path in [] if kept else _of_another(output, written):
        screen.print(f"note: {path} is from an earlier split, not from this one", soft_wrap=True)


def _kept(keep: tuple[Part, ...], drop: Part | None) -> frozenset[Part]:
    """The parts to keep in one LUT; empty where all parts are written."""
    from lutbench.splitting.split import check_parts

    if keep and drop:
        raise LutbenchError("--keep and --drop together", accepted="one of them")
    if not keep and not drop:
        return frozenset()
    kept = frozenset(keep) if keep else frozenset(set(PARTS) - {drop})
    check_parts(kept)
    return kept  # type: ignore[return-value]


def _refuse_output(output: str, one: bool, report: Reporting) -> None:
    """Refuse an output that cannot be written, before the work starts."""
    from lutbench import files
    from lutbench.cli.results import STANDARD, refuse_existing
    from lutbench.splitting.files import FILES

    path = Path(output)
    if not output.strip():
        raise LutbenchError("no output is named", accepted="a folder, or OUT.cube")
    if one:
        if output != STANDARD and path.suffix.lower() != ".cube":
            raise LutbenchError("is not a .cube file", where=path, accepted="OUT.cube, -")
        refuse_existing(output, report.force, as_json=report.as_json)
        return
    if path.exists() and not path.is_dir():
        raise LutbenchError("is a file", where=path, accepted="a folder for the parts")
    if path.is_dir():
        for name in FILES:
            files.refuse_existing(path / name, report.force)


def _of_another(output: str, written: list[str]) -> list[str]:
    """Files in the folder that an earlier split wrote, and this one did not."""
    from lutbench.splitting.files import FILES

    paths = (Path(output) / name for name in FILES)
    return [str(path) for path in paths if path.exists() and str(path) not in written]


def _parts_in_words(parts: Split) -> list[str]:
    """How well the chain gives the LUT back, in sentences."""
    from lutbench.measure.delta_e import DELTA_E_NAMES

    measure = DELTA_E_NAMES[parts.measure]
    lines = []
    best = parts.identification.best
    left_out = best.hypothesis.left_out if best is not None and best.hypothesis is not None else ()
    if parts.cdl:
        lines.append(_cdl_in_words(parts))
    elif parts.identification.look.cdl:
        lines.append(
            "A CDL is close to the look, but not within one code: look.cube holds all of it."
        )
    elif left_out:
        lines.append(
            f"look.cube holds more than a look: the LUT has {' and '.join(left_out)}, which "
            "clean.toml and the other parts leave out."
        )
    elif not parts.identification.look.present:
        lines.append("No look: look.cube changes almost nothing.")
    nodes = parts.error["nodes"][parts.measure]
    lines.append(f"Chained again, on the nodes of the LUT: {measure} {_figures(nodes)}.")
    between = {name: each for name, each in parts.error.items() if name != "nodes"}
    words = [f"{name} {_figures(each[parts.measure])}" for name, each in between.items()]
    lines.append(f"Between the nodes: {'; '.join(words)}.")
    own = parts.own_error.get("random")
    if own:
        lines.append(
            "For comparison, the error that any LUT of this size has between its nodes: random"
            f" {_figures(own[parts.measure])}."
        )
    lines.append("For viewing: delivery has its own specification.")
    return lines


def _kept_in_words(parts: Split, kept: Iterable[Part]) -> list[str]:
    """Notes on parts that change little or nothing."""
    tasks, lines = parts.tasks, []
    if "gamut" in kept and not tasks.converts_gamut:
        lines.append("The LUT does not convert the gamut: that part changes nothing.")
    if "curve" in kept and not tasks.converts_tone:
        lines.append("The LUT leaves the curve as it is: that part changes nothing.")
    if not parts.identification.look.present:
        lines.append("The LUT has no visible look.")
    elif parts.cdl:
        lines.append(_cdl_in_words(parts))
    return lines


def _cdl_in_words(parts: Split) -> str:
    cdl = parts.cdl
    assert cdl is not None
    rows = [
        f"{key} " + " ".join(f"{value:.3f}" for value in getattr(cdl, key))
        for key in ("slope", "offset", "power")
    ]
    return f"The look is a CDL: {', '.join(rows)}, saturation {cdl.saturation:.3f}."


def _figures(spread: Spread) -> str:
    return f"{spread.mean:.2f} (95 % within {spread.p95:.2f}, worst {spread.max:.2f})"
