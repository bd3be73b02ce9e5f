"""``lutbench apply``: put pictures through a LUT."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.media.frames import FrameList
    from lutbench.media.sequences import Outcome, Treatment
    from lutbench.tables.lut import Interpolation

FORMAT_SUFFIXES = {"png": ".png", "jpeg": ".jpg", "tiff": ".tif", "exr": ".exr", "dpx": ".dpx"}


@click.command()
@click.argument("lut")
@click.argument("source", metavar="IN")
@click.argument("target", metavar="OUT")
@click.option(
    "--interpolation",
    type=click.Choice(["tetrahedral", "trilinear"]),
    default="tetrahedral",
    show_default=True,
    help="How values between the nodes of a 3D LUT are found.",
)
@click.option(
    "--depth",
    type=click.Choice(["8", "10", "12", "16", "half", "float"]),
    help="Bits a channel to write, or half or float. [default: as in IN, where OUT can hold it]",
)
@click.option(
    "--format",
    "format_name",
    type=click.Choice(list(FORMAT_SUFFIXES)),
    help="The format of stills written into a folder. [default: as in IN]",
)
@click.option(
    "--target-gamut", metavar="NAME", help="The gamut that the LUT gives, to tag the output with."
)
@click.option(
    "--target-curve", metavar="NAME", help="The curve that the LUT gives, to tag the output with."
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 256),
    metavar="N",
    help="Frames under work at once. [default: one for each core]",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Hand the frames to the Dask scheduler at ADDRESS (tcp://HOST:PORT).",
)
@click.option("--force", is_flag=True, help="Replace files that exist, make all frames anew.")
@click.option("--json", "as_json", is_flag=True, help="Print the outcome as JSON.")
def command(
    lut: str,
    source: str,
    target: str,
    interpolation: Interpolation,
    depth: str | None,
    format_name: str | None,
    target_gamut: str | None,
    target_curve: str | None,
    jobs: int | None,
    scheduler: str | None,
    force: bool,
    as_json: bool,
) -> int:
    """Put the picture or pictures IN through LUT and write them to OUT.

    IN is a still (PNG, JPEG, TIFF, OpenEXR, DPX), a folder of stills, or a frame
    pattern, in which #### or %04d stands for the frame number; OUT is then a
    folder, or for a pattern another pattern. Bit depth, metadata and channels
    beyond R G B stay. Colour tags of IN do not, since they no longer hold: say
    what the LUT gives with --target-gamut and --target-curve.

    A run over many frames that was cut short goes on where it stopped when it is
    started again. Frames that fail are listed; the exit status is then 1.

    \b
    Examples:
      lutbench apply day.cube grab.dpx grab.png --target-gamut BT.709 --target-curve BT.1886
      lutbench apply day.cube shot.####.dpx viewing/
      lutbench apply day.cube shot.%04d.exr viewing/shot.%04d.png --depth 16
    """
    import lutbench
    from lutbench.media.frames import is_pattern
    from lutbench.media.sequences import Treatment
    from lutbench.media.tags import ColourTags
    from lutbench.tables.lut import interpolated

    tags = ColourTags(target_gamut, target_curve)
    transform = interpolated(lutbench.open_lut(lut), interpolation)
    treatment = Treatment(transform, depth, tags)
    suffix = FORMAT_SUFFIXES.get(format_name or "")
    if Path(source).is_dir() or is_pattern(source):
        from lutbench.media.frames import list_frames

        frames = list_frames(source, target, suffix)
        settings = [interpolation, depth, tags.gamut, tags.curve]
        fingerprint = _fingerprint(lut, settings)
        return _many(frames, treatment, fingerprint, jobs, force, scheduler, as_json)
    if scheduler is not None:
        raise LutbenchError(
            "one still is no work for a cluster", where=source, accepted="a folder or frame pattern"
        )
    return _one_still(
        treatment, Path(source), _still_target(source, target, suffix), force, as_json
    )


def _still_target(source: str, target: str, suffix: str | None) -> Path:
    """Where one still goes: into OUT where that is a folder."""
    if not Path(target).is_dir():
        return Path(target)
    name = Path(source).name if suffix is None else f"{Path(source).stem}{suffix}"
    return Path(target) / name


def _one_still(treatment: Treatment, source: Path, target: Path, force: bool, as_json: bool) -> int:
    from lutbench.media.frames import Frame
    from lutbench.media.sequences import Outcome, render_frame

    notes = render_frame(Frame(source, target), treatment, replace=force)
    outcome = Outcome(1, written=1, notes=dict.fromkeys(notes, 1))
    if as_json:
        click.echo(json.dumps(outcome.to_data(), indent=2))
    else:
        _print_notes(outcome)
        click.echo(f"{target}: written")
    return 0


def _many(
    frames: FrameList,
    treatment: Treatment,
    fingerprint: str,
    jobs: int | None,
    force: bool,
    scheduler: str | None,
    as_json: bool,
) -> int:
    from lutbench.cli.progress import frame_progress
    from lutbench.media.sequences import run_sequence

    for first, last in frames.gaps:
        missing = f"frame {first}" if first == last else f"frames {first} to {last}"
        click.echo(f"note: {missing} missing in {frames.source.name}", err=True)
    with frame_progress(len(frames.frames)) as show:
        outcome = run_sequence(
            frames,
            treatment,
            fingerprint,
            jobs=jobs,
            force=force,
            scheduler=scheduler,
            watch=lambda so_far: show(so_far.written + so_far.skipped + len(so_far.failed)),
        )
    if as_json:
        click.echo(json.dumps(outcome.to_data(), indent=2))
    else:
        _print_notes(outcome)
        for _, message in outcome.failed:
            click.echo(f"failed: {message}", err=True)
        skipped = f", {outcome.skipped} finished before" if outcome.skipped else ""
        failed = f", {len(outcome.failed)} failed" if outcome.failed else ""
        click.echo(f"{frames.target}: {outcome.written} frames written{skipped}{failed}")
    return 1 if outcome.failed else 0


def _print_notes(outcome: Outcome) -> None:
    for text, count in outcome.notes.items():
        times = f" ({count} frames)" if count > 1 else ""
        click.echo(f"note: {text}{times}", err=True)


def _fingerprint(lut: str, settings: list[str | None]) -> str:
    """Stands for the LUT file's bytes and the settings, so that unlike frames never mix."""
    import hashlib

    digest = hashlib.sha256(Path(lut).read_bytes())
    digest.update(json.dumps(settings).encode())
    return digest.hexdigest()
