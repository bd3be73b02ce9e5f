"""Clips: decoded, put through a LUT at full precision, and encoded again.

Three threads (decoding; pixels; encoding and writing) work at the same time with a few frames
between them, so that memory does not grow with the length of the clip. Sound is copied
unchanged; time code, frame times and rotation are kept.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.files import regular, replacing
from lutbench.media.clip.codecs import choose, load_av
from lutbench.media.clip.coding import coding_of, rgb_of
from lutbench.media.clip.pump import Line, pump
from lutbench.media.clip.writer import ClipWriter, Rewriting, copied_streams
from lutbench.media.clip.ycbcr import Matrix
from lutbench.media.names import CLIP_SUFFIXES
from lutbench.media.still.pixels import shrunk
from lutbench.media.tags import NO_TAGS, ColourTags
from lutbench.model.signal import Range
from lutbench.model.transforms import Transform

# Accepted containers; playlists are not among them, since they would open other files.
_CONTAINERS = {"mov", "matroska", "mxf", "avi", "mpegts", "mpeg", "ivf", "webm"}


@dataclass
class ClipOutcome:
    """What was written, and notes for the user."""

    frames: int = 0
    codec: str = ""
    notes: list[str] = field(default_factory=list)
    cut: dict[str, int] = field(default_factory=dict)
    """Numbers of pixels: all, outside the LUT's domain, and beyond the codes of the output."""

    @property
    def cut_share(self) -> float:
        """The share of the pixels that were clipped."""
        ends = sum(count for name, count in self.cut.items() if name != "pixels")
        return ends / self.cut["pixels"] if ends else 0.0

    def to_data(self) -> dict[str, Any]:
        """The outcome as plain data."""
        return {
            "schema": 1,
            "frames": self.frames,
            "codec": self.codec,
            "cut": self.cut,
            "notes": [{"message": text} for text in self.notes],
        }


@dataclass(frozen=True)
class ClipSettings:
    """How a clip is read and written; None means as the clip or the codec has it.

    Parameters
    ----------
    codec, depth, chroma
        Those of the output: a name from `lutbench.media.clip.codecs.CODECS`, bits, ``"420"`` …
    quality
        The constant rate factor of H.264 and H.265: lower is better.
    source_matrix, file_range
        The Y'CbCr matrix and the range of the clip's codes, instead of those in its tags.
    tags
        The colours after the LUT.
    audio
        Whether sound is copied.
    """

    codec: str | None = None
    depth: int | None = None
    chroma: str | None = None
    quality: int | None = None
    source_matrix: Matrix | None = None
    file_range: Range | None = None
    tags: ColourTags = NO_TAGS
    audio: bool = True


def apply_to_clip(
    transform: Transform,
    source: str | Path,
    target: str | Path,
    settings: ClipSettings = ClipSettings(),
    *,
    force: bool = False,
    watch: Callable[[int, int | None], None] | None = None,
) -> ClipOutcome:
    """Put each frame of a clip through a transform.

    Y'CbCr is converted to R G B signal values in float32, with 1.0 at the white code of the
    clip's range, put through the transform, and written in legal range with the matrix of the
    target gamut (that of the clip where none is named).

    Parameters
    ----------
    watch
        Called with the number of frames done, and of all frames (None where not known).

    Raises
    ------
    LutbenchError
        When the clip cannot be read, is interlaced, or cannot be written as asked.
    """
    source, target = Path(source), Path(target)
    with open_clip(source) as container:
        stream = _video(container, source)
        coding = coding_of(stream, settings.source_matrix, settings.file_range, source)
        choice = choose(target, settings.codec, settings.depth, settings.chroma, coding)
        outcome = ClipOutcome(codec=choice.name, notes=list(coding.notes))
        if coding.alpha and not choice.form.startswith("yuva"):
            outcome.notes.append(f"{choice.name} as chosen has no alpha: it is left out")
        rewriting = Rewriting(transform, coding, choice, settings.tags, settings.quality)
        if coding.matrix is None:
            coded = f"Y'CbCr of {rewriting.matrix}"
            outcome.notes.append(f"the clip is R G B: it is written as {coded}, which rounds it")
        with replacing(target, force=force) as temporary:
            _transcode(stream, temporary, rewriting, settings.audio, outcome, watch)
    return outcome


@contextmanager
def open_clip(path: str | Path) -> Iterator[Any]:
    """A clip opened for reading; errors of FFmpeg become a LutbenchError."""
    av = load_av()
    path = Path(path)
    regular(path)
    try:
        container = av.open(str(path.absolute()), container_options={"protocol_whitelist": "file"})
    except (av.FFmpegError, ValueError) as error:
        raise FormatError(f"is not a readable clip: {_reason(error)}", where=path) from error
    with container:
        if not _CONTAINERS & set(container.format.name.split(",")):
            raise FormatError(
                f"is a {container.format.name} file", where=path, accepted=", ".join(CLIP_SUFFIXES)
            )
        try:
            yield container
        except av.FFmpegError as error:
            raise LutbenchError(f"cannot be processed: {_reason(error)}", where=path) from error


def clip_pictures(
    path: str | Path,
    count: int,
    width: int,
    matrix: Matrix | None = None,
    span: Range | None = None,
) -> tuple[list[tuple[str, NDArray[np.float32]]], tuple[str, ...]]:
    """A few frames of a clip, spread evenly over its length, for a contact sheet.

    Returns
    -------
    list of (label, picture), notes
        The label is the time in the clip, the picture R G B signal values at most `width`
        pixels wide, shape (height, width, 3).
    """
    pictures: list[tuple[str, NDArray[np.float32]]] = []
    with open_clip(path) as container:
        stream = _video(container, path)
        coding = coding_of(stream, matrix, span, path)
        for moment in _moments(stream, count):
            frame = _frame_at(stream, moment)
            if frame is not None:
                seconds = float(frame.time or 0)
                label = f"{int(seconds // 60)}:{seconds % 60:06.3f}"
                pictures.append((label, shrunk(rgb_of(frame, coding), width)))
    if not pictures:
        raise FormatError("holds no frame that can be decoded", where=path)
    return pictures, coding.notes


def _transcode(
    stream: Any,
    temporary: Path,
    rewriting: Rewriting,
    audio: bool,
    outcome: ClipOutcome,
    watch: Callable[[int, int | None], None] | None,
) -> None:
    av = load_av()
    container = stream.container
    output = av.open(str(temporary), "w")
    decoded, finished = Line(), Line()
    threads: list[threading.Thread] = []
    copies: dict[Any, Any] = {}
    try:
        stream.thread_type = "AUTO"
        things = _decoded(stream, container.streams.audio if audio else ())
        begun = _until_frame(things, container.name)
        writer = ClipWriter(output, stream, rewriting, begun[-1])
        copies = copied_streams(container, output, audio, outcome.notes)
        threads = [
            pump(lambda: chain(begun, things), decoded),
            pump(lambda: _converted(decoded, writer), finished),
        ]
        _encode(finished, writer, copies, outcome, watch)
        writer.finish()
        output.close()
        outcome.notes += writer.notes
        outcome.cut = writer.cuts.to_data()
    except av.FFmpegError as error:
        raise LutbenchError(
            f"cannot be processed: {_reason(error)}",
            where=container.name,
            # Nothing is written yet, so the header was refused, which states the sound's format.
            accepted="perhaps audio=False, or .mov" if copies and not writer.has_written else "",
        ) from error
    finally:
        finished.close()
        decoded.close()
        for thread in threads:
            thread.join()
        with suppress(av.FFmpegError):  # an earlier error is being raised already
            output.close()


def _until_frame(things: Iterator[Any], name: str) -> list[Any]:
    """Packets up to the first frame, and that frame as the last."""
    begun = []
    for thing in things:
        begun.append(thing)
        if isinstance(thing, load_av().VideoFrame):
            return begun
    raise FormatError("holds no frame that can be decoded", where=name)


def _decoded(stream: Any, sound: Iterable[Any]) -> Iterator[Any]:
    """The frames of a stream, and the packets of the sound, in the order of the file."""
    for packet in stream.container.demux([stream, *sound]):
        if packet.stream is stream:
            yield from packet.decode()
        elif packet.dts is not None:
            yield packet


def _converted(decoded: Line, writer: ClipWriter) -> Iterator[Any]:
    """The same, with each frame put through the transform."""
    frame = load_av().VideoFrame
    for thing in decoded:
        yield writer.through(thing) if isinstance(thing, frame) else thing


def _encode(
    finished: Line,
    writer: ClipWriter,
    copies: dict[Any, Any],
    outcome: ClipOutcome,
    watch: Callable[[int, int | None], None] | None,
) -> None:
    """Write frames and packets in their order, and count the frames."""
    frame = load_av().VideoFrame
    total = _frame_count(writer.source)
    for thing in finished:
        if isinstance(thing, frame):
            writer.write(thing)
            outcome.frames += 1
            if watch is not None:
                watch(outcome.frames, total)
        else:
            thing.stream = copies[thing.stream]
            writer.output.mux(thing)


def _video(container: Any, path: str | Path) -> Any:
    if not container.streams.video:
        raise FormatError("holds no picture", where=path)
    return container.streams.video[0]


def _frame_count(stream: Any) -> int | None:
    if stream.frames:
        return int(stream.frames)
    container = stream.container
    rate = stream.average_rate
    if rate and stream.duration and stream.time_base:
        return int(stream.duration * stream.time_base * rate + Fraction(1, 2))
    if rate and container.duration:
        return int(Fraction(container.duration, 1_000_000) * rate + Fraction(1, 2))
    return None


def _moments(stream: Any, count: int) -> list[int]:
    """Times in the stream's time base, in the middle of `count` equal parts."""
    container = stream.container
    if stream.duration:
        length = stream.duration
    elif container.duration and stream.time_base:
        length = int(container.duration / 1_000_000 / stream.time_base)
    else:
        return [0]
    frames = _frame_count(stream) or count
    count = max(1, min(count, frames))
    start = stream.start_time or 0
    return [start + int(length * (index + 0.5) / count) for index in range(count)]


def _frame_at(stream: Any, moment: int) -> Any:
    """The frame shown at a time: the last that is not later, else the first after it."""
    container = stream.container
    container.seek(moment, stream=stream)
    shown = None
    for frame in container.decode(stream):
        if frame.pts is None:
            return frame
        if frame.pts > moment:
            return shown or frame
        shown = frame
    return shown


def _reason(error: BaseException) -> str:
    return " ".join(str(getattr(error, "strerror", None) or error).split())[:200]
