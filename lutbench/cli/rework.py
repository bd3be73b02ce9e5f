"""``lutbench rework``: make new LUTs from LUTs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lutbench import algebra
from lutbench.cli.options import (
    catalogue_of,
    changed_range_options,
    definitions_option,
    force_option,
    grouped_options,
    json_option,
)
from lutbench.cli.results import NewLut, output_option, reworked, title_option
from lutbench.cli.spelling import NUMBER, NumberIn
from lutbench.model.signal import RangeChange

if TYPE_CHECKING:
    from lutbench.algebra.result import Reworked
    from lutbench.model.transforms import Transform

F = TypeVar("F", bound=Callable[..., Any])
REPAIRS = (
    *("scale", "domain", "axes", "channels", "inverse", "legal", "stray"),
    *("range", "noise", "monotone", "tint", "folds"),
)


@dataclass(frozen=True)
class Out(NewLut):
    """Where the new LUT is written, how it is reported, and the definitions to look names up in."""

    definitions: tuple[str, ...] = ()

    def lut(self, text: str) -> Transform:
        """The LUT file, LUT of a recipe or pipeline that an argument names."""
        from lutbench.recipes.subjects import open_subject

        return open_subject(text, catalogue_of(self.definitions)).transform

    def plain_lut(self, text: str, size: int | None = None) -> Any:
        """The LUT that an argument names; another transform is sampled."""
        from lutbench.tables.lut import USUAL_SIZE, Lut
        from lutbench.tables.nodes import sample

        transform = self.lut(text)
        return transform if isinstance(transform, Lut) else sample(transform, size or USUAL_SIZE)

    def write(self, made: Reworked, sources: Sequence[str]) -> None:
        """Write what was made from `sources`, and report it."""
        if self.title:
            made = replace(made, lut=made.lut.with_title(self.title))
        reworked(made, self.output, force=self.force, as_json=self.as_json, sources=list(sources))


def output_options(function: F) -> Callable[..., Any]:
    """``-o``, ``--title``, ``--definitions``, ``--force``, ``--json``, passed as `out`."""
    options = definitions_option(force_option(json_option(grouped_options(out=Out)(function))))
    return output_option(title_option(options))


def size_option(function: F) -> F:
    """``--size``."""
    return click.option(
        "--size",
        type=click.IntRange(2, 65536),
        metavar="N",
        help="Nodes along an edge of OUT, or rows of a 1D LUT. [default: as the LUT]",
    )(function)


@click.group(invoke_without_command=True)
@click.pass_context
def command(context: click.Context) -> None:
    """Make a LUT from others: chain, invert, resample, repair, blend.

    A LUT may be a file, RECIPE.toml#NAME, or a pipeline
    "CURVE, GAMUT to CURVE, GAMUT". The changes, and the distance of OUT from the
    exact result in 10-bit codes, are printed. Each command has its own help:
    `lutbench rework invert --help`.

    \b
    Examples:
      lutbench rework chain day.cube look.cube -o both.cube
      lutbench rework invert monitor.cube -o back.cube
      lutbench rework repair old.cube -o sound.cube
      lutbench rework strength look.cube 0.5 -o half.cube
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


@command.command(short_help="Make one LUT of several, first to last.")
@click.argument("luts", nargs=-1, required=True, metavar="LUT...")
@size_option
@click.option(
    "--shaper/--no-shaper",
    default=True,
    help="Keep a curve that comes first as a shaper, or sample all as one 3D LUT. [default: "
    "shaper]",
)
@output_options
def chain(luts: tuple[str, ...], size: int | None, shaper: bool, out: Out) -> None:
    """Make one LUT that does what LUT... do one after the other, first to last.

    If all are curves, OUT is a 1D LUT. A 1D LUT that comes first is kept as a shaper.

    \b
    Example:
      lutbench rework chain day.cube look.cube -o both.cube
    """
    made = algebra.chain([out.lut(each) for each in luts], size, shaper=shaper)
    out.write(made, luts)


@command.command()
@click.argument("lut")
@size_option
@click.option(
    "--shaper",
    is_flag=True,
    help="Put a shaper in front of the 3D LUT: more accurate where LUT bends strongly.",
)
@click.option(
    "--fallback",
    type=click.Choice(["gamut", "nearest"]),
    default="gamut",
    show_default=True,
    help="For colours that LUT never produces: keep luma and hue, or take the nearest colour.",
)
@click.option("--hold", is_flag=True, help="Clip the values to the domain of LUT (0 to 1).")
@output_options
def invert(lut: str, size: int | None, shaper: bool, fallback: Any, hold: bool, out: Out) -> None:
    """Make the inverse of LUT.

    It is exact at each node whose colour LUT produces. Inputs that LUT clips, or gives the
    same output, cannot be separated again: their share is printed.

    \b
    Example:
      lutbench rework invert monitor.cube -o back.cube --size 65
    """
    subject = out.plain_lut(lut, size)
    made = algebra.invert(subject, size, shaper=shaper, fallback=fallback, hold=hold)
    out.write(made, [lut])


@command.command()
@click.argument("lut")
@click.argument("size", type=click.IntRange(2, 65536))
@click.option(
    "--method",
    type=click.Choice(["best", "linear", "pchip", "cubic", "fit"]),
    default="best",
    show_default=True,
    help="How the new nodes are calculated; best: the method with the smallest measured error.",
)
@output_options
def resample(lut: str, size: int, method: str, out: Out) -> None:
    """Resample LUT to another SIZE, by the best of several methods.

    \b
    Example:
      lutbench rework resample monitor.cube 17 -o small.cube
    """
    made = algebra.resample(out.plain_lut(lut), size, method)
    out.write(made, [lut])


@command.command("range")
@click.argument("lut")
@changed_range_options("LUT", "OUT")
@click.option(
    "--bits",
    type=click.Choice([8, 10, 12, 16]),
    default=10,
    show_default=True,
    help="The bit depth whose legal black and white are used.",
)
@click.option(
    "--domain",
    type=NUMBER,
    nargs=2,
    metavar="LOW HIGH",
    help="The inputs of the first and last node of OUT. [default: as LUT]",
)
@size_option
@grouped_options(ranges=RangeChange)
@output_options
def change_range(
    lut: str,
    ranges: RangeChange,
    domain: tuple[float, float] | None,
    size: int | None,
    out: Out,
) -> None:
    """Change LUT to another signal range, or another domain.

    \b
    Examples:
      lutbench rework range monitor.cube --target-range legal -o legal.cube
      lutbench rework range monitor.cube --domain 0 2 -o wide.cube
    """
    from lutbench.algebra.ranges import with_ranges

    made = with_ranges(out.plain_lut(lut), ranges, domain, size)
    out.write(made, [lut])


@command.command()
@click.argument("lut")
@click.option(
    "--only",
    "what",
    type=click.Choice(REPAIRS),
    multiple=True,
    help="What to repair; may be given more than once. [default: what `inspect` finds that "
    "cannot be intended]",
)
@click.option(
    "--most",
    type=NumberIn(0.0, 1023.0, min_open=True),
    default=64.0,
    show_default=True,
    metavar="CODES",
    help="The most that smoothing may move a value, in 10-bit codes.",
)
@click.option(
    "--fade",
    type=NumberIn(0.01, 2.0),
    default=0.35,
    show_default=True,
    metavar="S",
    help="Saturation at which a change of the neutral axis has faded to nothing.",
)
@output_options
def repair(lut: str, what: tuple[str, ...], most: float, fade: float, out: Out) -> None:
    """Repair the faults of LUT; what was changed is printed.

    By default, what `inspect` finds: text that cannot be read (decimal commas, a wrong
    size), code values in the table or the domain, rows or channels in another order, a
    table that is the inverse of its title, noise, a grey scale that falls, folds, and
    single stray nodes. Greys do not change unless the fault is in the greys.

    Only on request, since it may be intended: range (values are clipped to 0..1), tint
    (greys come out grey) and legal (legal-range output becomes full range).

    A repair that would cause more faults than it removes is not made. If some faults are
    repaired and others are not, OUT is written and both are printed. If no fault can be
    repaired, or OUT would be useless, nothing is written and the exit status is 2. A sound
    LUT is written as it is.

    \b
    Example:
      lutbench rework repair old.cube -o sound.cube
      lutbench rework repair old.cube -o sound.cube --only tint --only folds
    """
    from lutbench.inspection.cures import Bounds, refuse_uncured
    from lutbench.inspection.cures import repair as repaired

    subject, notes = _read_repaired(lut, out)
    made = repaired(subject, what or None, bounds=Bounds(most, fade))
    changes = (*notes, *made.changes)
    refuse_uncured(changes)
    out.write(replace(made, changes=changes), [lut])


def _read_repaired(text: str, out: Out) -> tuple[Any, list[Any]]:
    """A LUT, and the repairs to the text of its file; another transform is sampled."""
    from lutbench.algebra.result import Change
    from lutbench.errors import FormatError
    from lutbench.files import read_bytes
    from lutbench.formats.cube_cured import CORRECTED, parse_cured
    from lutbench.formats.registry import MAX_BYTES

    try:
        return out.plain_lut(text), []
    except FormatError:
        if not text.lower().endswith(".cube"):
            raise
        read = parse_cured(read_bytes(text, limit=MAX_BYTES), text)
        corrected = [note for note in read.notes if CORRECTED in note]
        return read.lut, [Change("text", note) for note in corrected]


@command.command()
@click.argument("lut")
@click.option(
    "--size",
    type=click.IntRange(2, 65536),
    default=4096,
    show_default=True,
    metavar="N",
    help="Rows of OUT.",
)
@click.option("--grey", is_flag=True, help="Give all channels one curve, the mean of the three.")
@output_options
def neutral(lut: str, size: int, grey: bool, out: Out) -> None:
    """Write the neutral axis of LUT as a 1D LUT.

    \b
    Example:
      lutbench rework neutral monitor.cube -o tone.cube --size 1024
    """
    made = algebra.neutral_curve(out.lut(lut), size, grey=grey)
    out.write(made, [lut])


@command.command(short_help="Mix two LUTs by an amount.")
@click.argument("first")
@click.argument("second")
@click.argument("amount", type=NUMBER)
@size_option
@output_options
def blend(first: str, second: str, amount: float, size: int | None, out: Out) -> None:
    """Mix two LUTs as signal values: AMOUNT 0 gives FIRST, 1 gives SECOND.

    \b
    Example:
      lutbench rework blend day.cube old.cube 0.5 -o between.cube
    """
    made = algebra.blend(out.lut(first), out.lut(second), amount, size)
    out.write(made, [first, second])


@command.command(short_help="Make the look of LUT stronger or weaker.")
@click.argument("lut")
@click.argument("amount", type=NUMBER)
@click.option(
    "--base",
    metavar="LUT",
    help="The conversion without the look. [default: the identity, right for a LUT whose input "
    "and output are the same encoding]",
)
@size_option
@output_options
def strength(lut: str, amount: float, base: str | None, size: int | None, out: Out) -> None:
    """Make the look of LUT stronger or weaker: AMOUNT 0 is none, 1 as it is, 2 double.

    \b
    Example:
      lutbench rework strength monitor.cube 0.7 -o soft.cube \\
          --base "ACEScct, ACEScg to BT.1886, BT.709"
    """
    under = None if base is None else out.lut(base)
    made = algebra.strength(out.lut(lut), amount, under, size)
    out.write(made, [lut] if base is None else [lut, base])
