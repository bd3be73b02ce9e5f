"""``lutbench apply``: put pictures through a LUT."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.frames import clip_coding_options, interpolation_option, value_ranges
from lutbench.cli.options import (
    LOG,
    Reporting,
    RunOptions,
    grouped_options,
    json_option,
    lut_range_options,
    note,
    print_json,
    worker_options,
)
from lutbench.cli.spelling import with_options
from lutbench.errors import LutbenchError
from lutbench.given import printable

if TYPE_CHECKING:
    from lutbench.media.clip.clip import ClipSettings
    from lutbench.media.clip.ycbcr import Matrix
    from lutbench.media.sequence.frames import FrameList
    from lutbench.media.tags import ColourTags
    from lutbench.media.treatment import FramesOutcome, Treatment
    from lutbench.model.signal import Range
    from lutbench.model.transforms import Transform
    from lutbench.tables.lut import Interpolation


@dataclass(frozen=True)
class Files:
    """IN and OUT."""

    source: str
    target: str


@dataclass(frozen=True)
class PictureOptions:
    """How pictures go through the LUT and are written."""

    interpolation: Interpolation | None
    depth: str | None
    dither: bool
    format_name: str | None
    file_range: Range | None
    source_range: Range | None
    target_range: Range | None
    target_gamut: str | None
    target_curve: str | None


@dataclass(frozen=True)
class ClipOptions:
    """Options that apply to clips only."""

    codec: str | None
    chroma: str | None
    quality: int | None
    source_matrix: Matrix | None
    no_audio: bool


FORMAT_SUFFIXES = {"png": ".png", "jpeg": ".jpg", "tiff": ".tif", "exr": ".exr", "dpx": ".dpx"}


@click.command()
@click.argument("lut")
@click.argument("source", metavar="IN")
@click.argument("target", metavar="OUT")
@interpolation_option
@click.option(
    "--depth",
    type=click.Choice(["8", "10", "12", "16", "half", "float"]),
    help="Bits per channel to write, or half or float. [default: as IN, where OUT can hold it]",
)
@click.option(
    "--dither",
    is_flag=True,
    help="For stills with --depth 8, 10 or 12: add noise of one code, so that skies do not band.",
)
@click.option(
    "--format",
    "format_name",
    type=click.Choice(list(FORMAT_SUFFIXES)),
    help="The format of stills written into a folder. [default: as IN]",
)
@click.option(
    "--target-gamut", metavar="NAME", help="The gamut that the LUT gives, to tag the output with."
)
@click.option(
    "--target-curve", metavar="NAME", help="The curve that the LUT gives, to tag the output with."
)
@worker_options("frames")
@click.option(
    "--codec",
    metavar="NAME",
    help="Codec of a clip: prores, prores4444, dnxhr, dnxhr444, h264, h265, ffv1. "
    "[default: by the suffix of OUT]",
)
@click.option(
    "--chroma",
    type=click.Choice(["420", "422", "444"]),
    help="Chroma sampling of a clip. [default: the codec's usual one]",
)
@click.option(
    "--quality",
    type=click.IntRange(0, 51),
    metavar="N",
    help="Constant rate factor of H.264 and H.265, lower is better. [default: 14, 16]",
)
@clip_coding_options
@lut_range_options
@click.option("--no-audio", is_flag=True, help="Write a clip without sound.")
@click.option("--force", is_flag=True, help="Replace existing files; render all frames again.")
@json_option
@grouped_options(
    files=Files,
    picture=PictureOptions,
    run=RunOptions,
    clip=ClipOptions,
    report=Reporting,
)
def command(
    lut: str,
    files: Files,
    picture: PictureOptions,
    run: RunOptions,
    clip: ClipOptions,
    report: Reporting,
) -> int:
    """Put the picture or pictures IN through LUT and write them to OUT.

    IN is a still (PNG, JPEG, TIFF, OpenEXR, DPX), a folder of stills, a frame
    pattern, in which #### or %04d stands for the frame number, or a clip (.mov,
    .mp4, .mkv, .mxf). OUT is a file; for a folder or pattern, a folder or
    another pattern. Stills keep their bit depth, metadata and channels beyond
    R G B; clips keep sound, time code and frame times. Colour tags of IN are
    dropped, since they are no longer true: name what the LUT gives with
    --target-gamut and --target-curve.

    --source-range and --target-range give the range of the LUT's input and output, as in
    build and inspect; a LUT from build states it itself. --file-range gives the range of
    the codes in IN, where its tags are missing or wrong.

    A run over many frames that was interrupted continues where it stopped when it
    is started again. Frames that fail are listed; the exit status is then 1.

    \b
    Examples:
      lutbench apply day.cube grab.dpx grab.png --target-gamut BT.709 --target-curve BT.1886
      lutbench apply day.cube shot.####.dpx viewing/
      lutbench apply day.cube shot.%04d.exr viewing/shot.%04d.png --depth 16
      lutbench apply day.cube A004.mov A004_view.mp4 --codec h265 --target-gamut BT.709
    """
    import lutbench
    from lutbench.media.names import is_clip, is_pattern
    from lutbench.media.tags import ColourTags
    from lutbench.tables.carried import over_signal
    from lutbench.tables.nodes import refuse_code_values

    source = files.source
    tags = ColourTags(picture.target_gamut, picture.target_curve)
    opened = lutbench.open_lut(lut)
    refuse_code_values(opened, lut)
    transform = opened.with_interpolation(picture.interpolation)
    if is_clip(source):
        _refuse(source, format=picture.format_name, jobs=run.jobs, scheduler=run.scheduler)
        _refuse(source, dither=picture.dither or None)
        settings = _clip_settings(clip, picture, tags)
        transform = over_signal(transform, value_ranges(opened, picture))
        return _one_clip(transform, files, settings, report)
    _refuse(source, **{**vars(clip), "no_audio": clip.no_audio or None})

    treatment, choices = _treatment(opened, transform, picture, tags)
    suffix = FORMAT_SUFFIXES.get(picture.format_name or "")
    if Path(source).is_dir() or is_pattern(source):
        from lutbench.media.sequence.frames import list_frames

        frames = list_frames(source, files.target, suffix)
        return _many(frames, treatment, _fingerprint(lut, choices), run, report)
    _refuse(source, jobs=run.jobs, scheduler=run.scheduler)
    return _one_still(treatment, files, suffix, report)


def _treatment(
    opened: Transform, transform: Transform, picture: PictureOptions, tags: ColourTags
) -> tuple[Treatment, list[str | None]]:
    """What is done to each still, and the options that identify this treatment."""
    from lutbench.media.treatment import Treatment
    from lutbench.tables.carried import over_codes

    if picture.dither and picture.depth not in ("8", "10", "12"):
        raise LutbenchError("--dither needs a depth", accepted="--depth 8, 10 or 12")
    choices = [picture.interpolation, picture.depth, tags.gamut, tags.curve]
    choices += ["dithered"] if picture.dither else []
    if picture.file_range is not None:
        values = value_ranges(opened, picture)
        transform = over_codes(transform, values, picture.file_range)
        choices += [picture.file_range, values.source, values.target]
    elif picture.source_range or picture.target_range:
        raise LutbenchError(
            "the codes of a still go into the LUT unchanged, so the LUT's range has no effect",
            accepted="with it --file-range full or legal, to convert from the range of the still",
        )
    return Treatment(transform, picture.depth, tags, picture.dither), choices


def _refuse(source: str, **options: object) -> None:
    """Refuse options that have no meaning for this kind of picture, rather than ignore them."""
    given = [name for name, value in options.items() if value is not None]
    if given:
        raise LutbenchError(
            f"--{given[0].replace('_', '-')} does not apply to this kind of picture",
            where=source,
            accepted="leave it out",
        )


def _clip_settings(clip: ClipOptions, picture: PictureOptions, tags: ColourTags) -> ClipSettings:
    from lutbench.media.clip.clip import ClipSettings

    depth = picture.depth
    if depth not in (None, "8", "10", "12"):
        raise LutbenchError(
            f"clips cannot be written with a depth of {depth}", accepted="8, 10, 12"
        )
    return ClipSettings(
        clip.codec,
        None if depth is None else int(depth),
        clip.chroma,
        clip.quality,
        clip.source_matrix,
        picture.file_range,
        tags,
        not clip.no_audio,
    )


def _one_clip(transform: Transform, files: Files, settings: ClipSettings, report: Reporting) -> int:
    from lutbench.cli.progress import frame_progress
    from lutbench.media.clip.clip import apply_to_clip
    from lutbench.media.clip.memory import reuse_frame_memory

    reuse_frame_memory()
    goal = Path(files.target)
    if goal.is_dir():
        goal /= Path(files.source).name
    with frame_progress(None) as show:
        outcome = apply_to_clip(
            transform, files.source, goal, settings, force=report.force, watch=show
        )
    if report.as_json:
        print_json(outcome.to_data())
    else:
        for text in outcome.notes:
            note(text)
        written = f"{goal}: {outcome.frames} frames written as {outcome.codec}"
        cut = (
            f", {100 * outcome.cut_share:.2g} % of the pixels clipped" if outcome.cut_share else ""
        )
        click.echo(printable(written + cut))
    return 0


def _one_still(treatment: Treatment, files: Files, suffix: str | None, report: Reporting) -> int:
    """One still, into OUT where that is a folder."""
    from lutbench.media.treatment import FramesOutcome, render_still

    source, target = Path(files.source), Path(files.target)
    if target.is_dir():
        target /= source.name if suffix is None else f"{source.stem}{suffix}"
    notes = render_still(source, target, treatment, replace=report.force)
    outcome = FramesOutcome(1, written=1, notes=dict.fromkeys(notes, 1))
    if report.as_json:
        print_json(outcome.to_data())
    else:
        _print_notes(outcome)
        click.echo(printable(f"{target}: written"))
    return 0


def _many(
    frames: FrameList,
    treatment: Treatment,
    fingerprint: str,
    run: RunOptions,
    report: Reporting,
) -> int:
    from lutbench.cli.progress import frame_progress
    from lutbench.media.sequence.sequence import SequenceRun, run_sequence

    for first, last in frames.gaps:
        missing = f"frame {first}" if first == last else f"frames {first} to {last}"
        note(f"{missing} missing in {frames.source.name}")
    with frame_progress(len(frames.frames)) as show:
        outcome = run_sequence(
            frames,
            treatment,
            fingerprint,
            SequenceRun(run.jobs, report.force, run.scheduler),
            watch=lambda so_far: show(so_far.written + so_far.skipped + len(so_far.failed)),
        )
    if report.as_json:
        print_json(outcome.to_data())
    else:
        _print_notes(outcome)
        for _, message in outcome.failed:
            LOG.error("failed: %s", with_options(message))
        skipped = f", {outcome.skipped} finished before" if outcome.skipped else ""
        failed = f", {len(outcome.failed)} failed" if outcome.failed else ""
        click.echo(printable(f"{frames.target}: {outcome.written} frames written{skipped}{failed}"))
    return 1 if outcome.failed else 0


def _print_notes(outcome: FramesOutcome) -> None:
    for text, count in outcome.notes.items():
        times = f" ({count} frames)" if count > 1 else ""
        note(f"{text}{times}")


def _fingerprint(lut: str, choices: list[str | None]) -> str:
    """A digest of the LUT file and the options, so that frames of different runs never mix."""
    import hashlib

    digest = hashlib.sha256(Path(lut).read_bytes())
    digest.update(json.dumps(choices).encode())
    return digest.hexdigest()
