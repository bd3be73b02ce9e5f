"""``lutbench sheet``: a contact sheet of frames before and after a LUT."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.frames import clip_coding_options, interpolation_option, value_ranges
from lutbench.cli.options import (
    catalogue_of,
    definitions_option,
    force_option,
    grouped_options,
    lut_range_options,
    note,
)
from lutbench.errors import LutbenchError
from lutbench.given import printable

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lutbench.media.clip.ycbcr import Matrix
    from lutbench.model.curves.base import Curve
    from lutbench.model.signal import Range
    from lutbench.model.transforms import Transform
    from lutbench.tables.lut import Interpolation


@dataclass(frozen=True)
class SheetLayout:
    """The layout of the sheet, and its heading."""

    count: int
    columns: int | None
    width: int
    curve: str | None
    title: str | None


@dataclass(frozen=True)
class FrameReading:
    """How frames are read and put through the LUT."""

    interpolation: Interpolation | None
    source_matrix: Matrix | None
    file_range: Range | None
    source_range: Range | None
    target_range: Range | None


@click.command()
@click.argument("lut")
@click.argument("source", metavar="IN")
@click.argument("target", metavar="OUT")
@click.option(
    "--frames",
    "count",
    type=click.IntRange(1, 200),
    default=12,
    show_default=True,
    help="Number of frames to show, spread evenly.",
)
@click.option(
    "--columns", type=click.IntRange(1, 20), metavar="N", help="Frames in a row. [default: to fit]"
)
@click.option(
    "--width",
    type=click.IntRange(64, 4096),
    default=360,
    show_default=True,
    metavar="PIXELS",
    help="The width of a picture.",
)
@click.option(
    "--curve",
    metavar="NAME",
    help="The curve that the frames are recorded in: adds the levels of black, grey and white.",
)
@click.option("--title", help="The heading. [default: the LUT's own title, or its file name]")
@interpolation_option
@clip_coding_options
@lut_range_options
@definitions_option
@force_option
@grouped_options(layout=SheetLayout, reading=FrameReading)
def command(
    lut: str,
    source: str,
    target: str,
    layout: SheetLayout,
    reading: FrameReading,
    **options: Any,
) -> None:
    """Draw frames of IN before and after LUT, side by side, into the picture OUT.

    IN is a still, a folder of stills, a frame pattern (shot.####.dpx) or a clip;
    OUT is a .png, .jpg or .tif. At the top are the LUT's name and what it does to
    levels. Under each frame, a bar goes from the 1st to the 99th percentile of its
    luma, with a notch at the median.

    \b
    Example:
      lutbench sheet day.cube A004.mov A004.png --curve ACEScct
    """
    import lutbench
    from lutbench.media.names import is_clip
    from lutbench.media.sheet import SHEET_FORMATS, before_after_sheet, write_sheet
    from lutbench.media.still.still import still_format
    from lutbench.tables.carried import over_codes, over_signal

    opened = lutbench.open_lut(lut)
    values = value_ranges(opened, reading)
    transform = opened.with_interpolation(reading.interpolation)
    known = None
    if curve := layout.curve or _projects_curve():
        known = catalogue_of(options["definitions"]).curve(curve, where="--curve")
    if still_format(target) not in SHEET_FORMATS:
        raise LutbenchError(
            "a sheet cannot be written in this format", where=target, accepted=".png, .jpg, .tif"
        )
    frames, from_where, notes = _frames(source, layout, reading)
    for line in notes:
        note(line)
    heading = layout.title or getattr(transform, "title", "") or Path(lut).stem
    lines = [
        f"{_kind(transform)}  ·  {from_where}",
        _levels(over_signal(transform, values), known),
    ]
    if is_clip(source):
        transform = over_signal(transform, values)
    elif reading.file_range is not None:
        transform = over_codes(transform, values, reading.file_range)
    sheet = before_after_sheet(
        frames, transform, heading=heading, subheading="\n".join(lines), columns=layout.columns
    )
    write_sheet(sheet, target, force=options["force"])
    count_words = "1 frame" if len(frames) == 1 else f"{len(frames)} frames"
    click.echo(printable(f"{target}: {count_words}, {sheet.shape[1]}×{sheet.shape[0]} pixels"))


def _projects_curve() -> str:
    """The curve of the project's recordings, which is then logged; empty where there is none."""
    from lutbench.cli.options import project_here, say_taken

    project = project_here()
    if project is None or not project.source.curve:
        return ""
    say_taken(project, f"curve {project.source.curve}")
    return project.source.curve


def _frames(
    source: str, layout: SheetLayout, reading: FrameReading
) -> tuple[list[tuple[str, NDArray[Any]]], str, tuple[str, ...]]:
    """Pairs of label and picture, a description of their source, and notes."""
    from lutbench.media.clip.clip import clip_pictures
    from lutbench.media.names import is_clip, is_pattern
    from lutbench.media.sequence.frames import source_frames
    from lutbench.media.still.pixels import thumbnail
    from lutbench.media.still.still import read_still

    name = Path(source).name or source
    if is_clip(source):
        coding = (reading.source_matrix, reading.file_range)
        pictures, notes = clip_pictures(source, layout.count, layout.width, *coding)
        return pictures, f"{len(pictures)} frames of {name}", notes
    if Path(source).is_dir() or is_pattern(source):
        every = source_frames(source)
        count = min(layout.count, len(every))
        step = len(every) / count
        chosen = [every[int(step * (index + 0.5))] for index in range(count)]
        of = f"{len(chosen)} of {len(every)} frames of {name}"
    else:
        chosen, of = [Path(source)], name
    return [(path.name, thumbnail(read_still(path), layout.width)) for path in chosen], of, ()


def _kind(transform: Transform) -> str:
    """What the LUT is, in a few words."""
    size = getattr(transform, "size", None)
    interpolation = getattr(getattr(transform, "lut", transform), "interpolation", None)
    words = {
        "lut1d": f"1D LUT, {size} rows",
        "lut3d": f"3D LUT, {size}×{size}×{size}, {interpolation}",
        "shaper_lut3d": f"shaper and 3D LUT, {size}×{size}×{size}, {interpolation}",
    }
    return words.get(transform.kind, f"{transform.kind} of several steps")


def _levels(transform: Transform, curve: Curve | None) -> str:
    """The output for a few neutral levels, in percent of signal."""
    import numpy as np

    from lutbench.tables.nodes import greys

    if curve is None:
        where = "signal"
        names = ["0 %", "25 %", "50 %", "75 %", "100 %"]
        signals = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    else:
        where = curve.name
        lights = [0.0, 0.18, 0.9, 1.0]
        signals = np.asarray(curve.encode(lights))
        words = ("black", "grey 18 %", "white 90 %", "100 %")
        names = [
            f"{word} at {100 * value:.0f} %" for word, value in zip(words, signals, strict=True)
        ]
    after = np.asarray(transform.apply(greys(signals)))
    pairs = [
        f"{name} → {_percent(value)}" for name, value in zip(names, after.tolist(), strict=True)
    ]
    return f"{where}: " + ",  ".join(pairs)


def _percent(rgb: list[float]) -> str:
    """One number where the three agree to half a percent, else all three."""
    if any(value != value for value in rgb):
        raise LutbenchError("the LUT gives no number for a neutral level")
    if max(rgb) - min(rgb) < 0.005:
        return f"{_whole(sum(rgb) / 3)} %"
    return "/".join(_whole(value) for value in rgb) + " %"


def _whole(signal: float) -> str:
    """Whole percent, and "0" rather than "-0" where rounding left a value just below zero."""
    text = f"{100 * signal:.0f}"
    return "0" if text == "-0" else text
