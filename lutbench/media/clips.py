"""Clips: decoded, put through a LUT at full precision, and encoded again.

Three threads work hand in hand (decoding; pixels; encoding and writing), with a
few frames between them, so the memory taken does not grow with the length of the
clip. Sound is copied as it is; time code, frame times and rotation are kept.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.files import regular, replacing
from lutbench.media.codecs import CLIP_SUFFIXES, SOURCE_SUFFIXES, Choice, choose, load_av
from lutbench.media.stills import memory_limit, through
from lutbench.media.tags import NO_TAGS, ColourTags
from lutbench.media.ycbcr import Coding, Matrix, Siting, planes_from_rgb, rgb_from_planes
from lutbench.model.signal import Range
from lutbench.model.transforms import Transform

# Code points of Recommendation ITU-T H.273, matrix_coefficients.
_MATRICES: dict[int, Matrix] = {1: "BT.709", 5: "BT.601", 6: "BT.601", 9: "BT.2020"}
_MATRIX_CODES = {"BT.709": 1, "BT.601": 6, "BT.2020": 9}
_UNSPECIFIED = 2
_LEGAL, _FULL = 1, 2  # FFmpeg's numbers for the range tag

_BETWEEN = 3  # frames that may wait between two threads

# What is kept of what a clip says about itself: the rest is about its own container.
_KEPT = {
    *("title", "artist", "author", "comment", "description", "copyright", "keywords"),
    *("date", "creation_time", "location", "reel_name"),
}

# Frames a second in MXF (SMPTE ST 377-1 leaves it open; these are what FFmpeg writes).
_MXF_RATES = {Fraction(n) for n in (24, 25, 30, 48, 50, 60)} | {
    Fraction(1000 * n, 1001) for n in (24, 30, 48, 60)
}

# What a container may be: no playlist, which would open other files.
_CONTAINERS = {"mov", "matroska", "mxf", "avi", "mpegts", "mpeg", "ivf", "webm"}


@dataclass(frozen=True)
class ClipCoding:
    """How the code values of a clip are read, and what had to be assumed for it."""

    bits: int
    range: Range
    matrix: Matrix | None  # None for R G B
    across: int
    down: int
    siting: Siting
    alpha: bool
    notes: tuple[str, ...] = ()

    @property
    def chroma(self) -> str:
        """``"420"``, ``"422"`` or ``"444"``."""
        return {(2, 2): "420", (2, 1): "422"}.get((self.across, self.down), "444")

    def ycbcr(self) -> Coding:
        """The coding of the Y'CbCr planes."""
        assert self.matrix is not None
        return Coding(self.matrix, self.range, self.bits, self.across, self.down, self.siting)


@dataclass
class ClipOutcome:
    """What was written, and what the user should know of it."""

    frames: int = 0
    codec: str = ""
    notes: list[str] = field(default_factory=list)

    def to_data(self) -> dict[str, Any]:
        """Plain data with stable keys."""
        return {
            "schema": 1,
            "frames": self.frames,
            "codec": self.codec,
            "notes": [{"message": text} for text in self.notes],
        }


@dataclass(frozen=True)
class ClipSettings:
    """How a clip is read and written; None stands for what the clip or the codec says.

    Parameters
    ----------
    codec, depth, chroma
        Of the output: a name of `lutbench.media.codecs.CODECS`, bits, ``"420"`` …
    quality
        The constant rate factor of H.264 and H.265: lower is better.
    source_matrix, source_range
        In place of what the clip's tags say.
    tags
        What the colours are after the LUT.
    """

    codec: str | None = None
    depth: int | None = None
    chroma: str | None = None
    quality: int | None = None
    source_matrix: Matrix | None = None
    source_range: Range | None = None
    tags: ColourTags = NO_TAGS
    audio: bool = True


def is_clip(path: str | Path) -> bool:
    """Whether a file name's suffix is that of a clip that can be read."""
    return Path(path).suffix.lower() in (*CLIP_SUFFIXES, *SOURCE_SUFFIXES)


def apply_to_clip(
    transform: Transform,
    source: str | Path,
    target: str | Path,
    settings: ClipSettings = ClipSettings(),
    *,
    force: bool = False,
    watch: Callable[[int, int | None], None] | None = None,
) -> ClipOutcome:
    """Put every frame of a clip through a transform.

    Y'CbCr becomes R G B signal values in float32, 1.0 at the white code of the
    clip's range, then goes through the transform, and is written in legal range
    with the matrix of the target gamut (that of the clip where none is named).

    Parameters
    ----------
    watch
        Called with the frames done and the frames in all (None: not known).

    Raises
    ------
    LutbenchError
        When the clip cannot be read, is interlaced, or cannot be written so.
    """
    source, target = Path(source), Path(target)
    with open_clip(source) as container:
        stream = _video(container, source)
        coding = coding_of(stream, settings.source_matrix, settings.source_range, source)
        choice = choose(
            target,
            settings.codec,
            settings.depth,
            settings.chroma,
            source_bits=coding.bits,
            source_chroma=coding.chroma,
            alpha=coding.alpha,
        )
        outcome = ClipOutcome(codec=choice.name, notes=list(coding.notes))
        if coding.alpha and not choice.form.startswith("yuva"):
            outcome.notes.append(f"{choice.name} as chosen holds no alpha: left out")
        with replacing(target, force=force) as temporary:
            _transcode(
                container, stream, coding, transform, temporary, choice, settings, outcome, watch
            )
    return outcome


@contextmanager
def open_clip(path: str | Path) -> Iterator[Any]:
    """A clip opened for reading; faults of FFmpeg's become a LutbenchError."""
    av = load_av()
    path = Path(path)
    regular(path)
    try:
        container = av.open(str(path.absolute()), container_options={"protocol_whitelist": "file"})
    except (av.FFmpegError, ValueError) as error:
        raise FormatError(f"is no readable clip: {_reason(error)}", where=path) from error
    with container:
        if not _CONTAINERS & set(container.format.name.split(",")):
            raise FormatError(
                f"is a {container.format.name} file", where=path, accepted=", ".join(CLIP_SUFFIXES)
            )
        try:
            yield container
        except av.FFmpegError as error:
            raise LutbenchError(f"cannot be worked on: {_reason(error)}", where=path) from error


def coding_of(
    stream: Any,
    matrix: Matrix | None = None,
    span: Range | None = None,
    where: str | Path = "",
) -> ClipCoding:
    """How the frames of a video stream are coded: after its tags, or as told, or assumed.

    Raises
    ------
    LutbenchError
        When the pixel format or the matrix is none that is read here.
    """
    context = stream.codec_context
    if context is None:
        raise LutbenchError("nothing here decodes its pictures", where=where)
    name = context.pix_fmt or "nothing"
    form = context.format
    parts = form.components if form is not None else ()
    bits = parts[0].bits if parts else 0
    planar = len(parts) >= 3 and len({part.plane for part in parts}) == len(parts)
    known = name.startswith(("yuv", "gbrp", "gbrap")) and not name.endswith("be")
    if not planar or not known or not 8 <= bits <= 16:
        raise LutbenchError(
            f"the pixel format {name} is none that is read",
            where=where,
            accepted="planar Y'CbCr or R G B of 8 to 16 bits",
        )
    need = context.width * context.height * 3 * 4 * 3
    if need > memory_limit():
        raise LutbenchError(
            f"frames of {context.width}×{context.height} are larger than the memory limit",
            where=where,
            accepted=f"up to {memory_limit() >> 20} MiB for three frames in float32",
        )
    alpha = any(part.is_alpha for part in parts)
    notes: list[str] = []
    if name.startswith("gb"):
        chosen: Range = span or ("legal" if context.color_range == _LEGAL else "full")
        return ClipCoding(bits, chosen, None, 1, 1, "left", alpha)
    across = _factor(context.width, form.chroma_width(context.width))
    down = _factor(context.height, form.chroma_height(context.height))
    if (across, down) not in ((1, 1), (2, 1), (2, 2)):
        raise LutbenchError(
            f"the pixel format {name} is none that is read",
            where=where,
            accepted="4:2:0, 4:2:2, 4:4:4",
        )
    if span is None:
        span, note = _tagged_range(context, name)
        notes += note
    if matrix is None:
        matrix, note = _tagged_matrix(context, where)
        notes += note
    siting: Siting = "center" if name.startswith("yuvj") else "left"
    return ClipCoding(bits, span, matrix, across, down, siting, alpha, tuple(notes))


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
        The label is the time in the clip; the picture R G B signal values, at
        most `width` wide, shape (height, width, 3).
    """
    from lutbench.media.sheet import shrunk

    pictures: list[tuple[str, NDArray[np.float32]]] = []
    with open_clip(path) as container:
        stream = _video(container, path)
        coding = coding_of(stream, matrix, span, path)
        for moment in _moments(container, stream, count):
            frame = _frame_at(container, stream, moment)
            if frame is not None:
                seconds = float(frame.time or 0)
                label = f"{int(seconds // 60)}:{seconds % 60:06.3f}"
                pictures.append((label, shrunk(rgb_of(frame, coding), width)))
    if not pictures:
        raise FormatError("holds no frame that can be decoded", where=path)
    return pictures, coding.notes


def rgb_of(frame: Any, coding: ClipCoding) -> NDArray[np.float32]:
    """R G B signal values of a decoded frame, shape (height, width, 3)."""
    planes = [_plane(frame, index, coding.bits) for index in range(3)]
    if coding.matrix is not None:
        y, cb, cr = planes
        return rgb_from_planes(y, cb, cr, frame.width, coding.ycbcr())
    black, scale = Coding("BT.709", coding.range, coding.bits).luma_scale
    rgb = np.empty((frame.height, frame.width, 3), np.float32)
    for channel, plane in zip((1, 2, 0), planes, strict=True):  # FFmpeg's order is G B R
        np.subtract(plane[:, : frame.width], np.float32(black), out=rgb[..., channel])
    rgb /= np.float32(scale)
    return rgb


# --- the three threads ---------------------------------------------------------------------------


class _Line:
    """A few things on their way from one thread to the next; an error goes both ways."""

    def __init__(self) -> None:
        self._queue: queue.Queue[Any] = queue.Queue(_BETWEEN)
        self._broken = threading.Event()

    def put(self, thing: Any) -> None:
        """Hand on, or wait; raises `_Broken` when nobody will take it."""
        while not self._broken.is_set():
            try:
                self._queue.put(thing, timeout=0.1)
            except queue.Full:
                continue
            return
        raise _Broken

    def __iter__(self) -> Iterator[Any]:
        while not self._broken.is_set():
            try:
                thing = self._queue.get(timeout=0.1)
            except queue.Empty:
                continue
            if isinstance(thing, _End):
                if thing.error is not None:
                    raise thing.error
                return
            yield thing
        raise _Broken

    def close(self) -> None:
        """Nobody needs the rest: giver and taker may stop."""
        self._broken.set()


@dataclass(frozen=True)
class _End:
    error: BaseException | None = None


class _Broken(Exception):
    """The next thread has stopped, and says why itself."""


def _pump(make: Callable[[], Iterator[Any]], line: _Line) -> threading.Thread:
    """A thread that puts what `make` yields on the line, its end, and its error if it has one."""

    def run() -> None:
        try:
            for thing in make():
                line.put(thing)
            line.put(_End())
        except _Broken:
            pass
        except BaseException as error:
            with suppress(_Broken):
                line.put(_End(error))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return thread


def _transcode(
    container: Any,
    stream: Any,
    coding: ClipCoding,
    transform: Transform,
    temporary: Path,
    choice: Choice,
    settings: ClipSettings,
    outcome: ClipOutcome,
    watch: Callable[[int, int | None], None] | None,
) -> None:
    av = load_av()
    total = _frame_count(container, stream)
    output = av.open(str(temporary), "w")
    decoded, finished = _Line(), _Line()
    threads: list[threading.Thread] = []
    copies: dict[Any, Any] = {}
    begun = False
    try:
        writer = _Writer(output, container, stream, choice, coding, settings)
        copies = _copied_streams(container, output, settings, outcome)
        stream.thread_type = "AUTO"

        def decode() -> Iterator[Any]:
            for packet in container.demux([stream, *copies]):
                if packet.stream is not stream:
                    if packet.dts is not None:
                        yield packet
                    continue
                yield from packet.decode()

        def convert() -> Iterator[Any]:
            for thing in decoded:
                if isinstance(thing, av.VideoFrame):
                    yield writer.through(thing, transform)
                else:
                    yield thing

        threads = [_pump(decode, decoded), _pump(convert, finished)]
        early: list[Any] = []
        for thing in finished:
            if isinstance(thing, av.VideoFrame):
                begun = writer.write(thing) or begun
                outcome.frames += 1
                if watch is not None:
                    watch(outcome.frames, total)
            else:
                thing.stream = copies[thing.stream]
                early.append(thing)
            # The file's header is written with the first packet, and must wait
            # for what only the first frame tells.
            if outcome.frames:
                while early:
                    output.mux(early.pop(0))
        if not outcome.frames:
            raise FormatError("holds no frame that can be decoded", where=container.name)
        writer.finish()
        output.close()
    except av.FFmpegError as error:
        raise LutbenchError(
            f"cannot be worked on: {_reason(error)}",
            where=container.name,
            # Nothing written yet: the file's header, which holds the sound's form, was refused.
            accepted="perhaps --no-audio, or .mov" if copies and not begun else "",
        ) from error
    finally:
        finished.close()
        decoded.close()
        for thread in threads:
            thread.join()
        with suppress(av.FFmpegError):  # what went wrong first is on its way already
            output.close()


class _Writer:
    """The encoder of a clip, with the tags and times of the frames that it gets."""

    def __init__(
        self,
        output: Any,
        container: Any,
        source: Any,
        choice: Choice,
        coding: ClipCoding,
        settings: ClipSettings,
    ) -> None:
        rate = source.average_rate or source.guessed_rate or Fraction(25)
        options = choice.codec.options_for(
            choice.bits, settings.quality if choice.codec.quality else None
        )
        stream = output.add_stream(choice.codec.encoder, rate=rate, options=options)
        context = stream.codec_context
        context.width, context.height = source.codec_context.width, source.codec_context.height
        context.pix_fmt = choice.form
        context.thread_type = "AUTO"
        base = source.time_base or 1 / rate
        self.even = output.format.name == "mxf"  # which has one duration for all frames
        if self.even:
            if rate not in _MXF_RATES:
                raise _uneven(f"on average {float(rate):.3f} a second")
            base = 1 / rate
        stream.time_base = context.time_base = base
        if source.codec_context.sample_aspect_ratio:
            context.sample_aspect_ratio = source.codec_context.sample_aspect_ratio
        matrix = _target_matrix(settings.tags, coding, choice)
        self.tags = (
            _LEGAL,
            _MATRIX_CODES[matrix],
            settings.tags.primaries,
            settings.tags.transfer,
        )
        _set_tags(context, self.tags)
        self.coding = coding
        self.shape = (context.width, context.height)
        self.form = choice.form
        across = 2 if choice.chroma in ("420", "422") else 1
        down = 2 if choice.chroma == "420" else 1
        self.target = Coding(matrix, "legal", choice.bits, across, down)
        self.output, self.stream, self.rate, self.base = output, stream, rate, base
        self.rotation = 0
        self.count = 0
        self.first: int | None = None
        self.begun = False
        _keep_metadata(container, source, output, stream)

    def through(self, frame: Any, transform: Transform) -> Any:
        """A new frame: `frame` through the transform, in the form of the output."""
        av = load_av()
        if (frame.width, frame.height) != self.shape:
            raise LutbenchError(
                f"the picture changes its size to {frame.width}×{frame.height} at {frame.time} s",
                accepted="one size in a clip",
            )
        if frame.interlaced_frame:
            raise LutbenchError("the clip is interlaced", accepted="progressive frames")
        rgb = through(transform, rgb_of(frame, self.coding))
        result = av.VideoFrame(frame.width, frame.height, self.form)
        y, cb, cr = (_plane(result, index, self.target.bits) for index in range(3))
        planes_from_rgb(rgb, y, cb, cr, self.target)
        if self.form.startswith("yuva"):
            _copy_alpha(frame, result, self.coding.bits, self.target.bits)
        result.pts, result.time_base = self._time(frame)
        if frame.duration:
            result.duration = round(frame.duration * (frame.time_base or self.base) / self.base)
        _set_tags(result, self.tags)
        self.rotation = self.rotation or frame.rotation
        return result

    def _time(self, frame: Any) -> tuple[int, Fraction]:
        """The time of a frame, counted where the clip gives none."""
        number = self.count
        self.count += 1
        if frame.pts is None:
            return round(number / self.rate / self.base), self.base
        if not self.even:
            return frame.pts, frame.time_base or self.base
        moment = round(frame.pts * frame.time_base / self.base)
        first = self.first = moment - number if self.first is None else self.first
        if moment - first != number:
            raise _uneven(f"at {frame.time} s")
        return moment, self.base

    def write(self, frame: Any) -> bool:
        """Encode a frame and write what comes of it; whether anything came."""
        if not self.begun:
            self.begun = True
            if self.rotation and hasattr(self.stream, "set_display_rotation"):
                self.stream.set_display_rotation(self.rotation)
        packets = self.stream.encode(frame)
        self.output.mux(packets)
        return bool(packets)

    def finish(self) -> None:
        """Write what the encoder still holds."""
        self.output.mux(self.stream.encode(None))


def _uneven(where: str) -> LutbenchError:
    return LutbenchError(
        f"the frames are not evenly spaced ({where}), and MXF holds no others",
        accepted="another suffix, such as .mov",
    )


def _set_tags(thing: Any, tags: tuple[int, int, int, int]) -> None:
    thing.color_range, thing.colorspace, thing.color_primaries, thing.color_trc = tags


def _target_matrix(tags: ColourTags, coding: ClipCoding, choice: Choice) -> Matrix:
    if choice.codec.only_709:
        return "BT.709"
    if tags.gamut is not None:
        return "BT.2020" if tags.primaries == 9 else "BT.709"
    return coding.matrix or "BT.709"


def _copied_streams(
    container: Any, output: Any, settings: ClipSettings, outcome: ClipOutcome
) -> dict[Any, Any]:
    """The sound streams, each with its place in the output; the rest is noted."""
    copies: dict[Any, Any] = {}
    for stream in container.streams:
        if stream.type == "audio" and settings.audio:
            if stream.codec_context.name not in output.supported_codecs:
                raise LutbenchError(
                    f"sound in {stream.codec_context.name} does not go into this kind of file",
                    where=container.name,
                    accepted="another suffix (.mov, .mkv), or --no-audio",
                )
            copies[stream] = output.add_stream_from_template(stream)
            for key in ("language", "title"):
                if key in stream.metadata:
                    copies[stream].metadata[key] = stream.metadata[key]
        elif (
            stream.type in ("subtitle", "data", "attachment") and "timecode" not in stream.metadata
        ):
            outcome.notes.append(f"a {stream.type} stream is left out")
    return copies


def _keep_metadata(container: Any, source: Any, output: Any, stream: Any) -> None:
    """What the file says of itself, and the time code, which writers make a track of."""
    for key, value in container.metadata.items():
        if key.lower() in _KEPT:
            output.metadata[key.lower()] = value
    for key in ("language", "title", "reel_name"):
        if key in source.metadata:
            stream.metadata[key] = source.metadata[key]
    code = time_code(container)
    if code:
        output.metadata["timecode"] = code


def time_code(container: Any) -> str:
    """The time code of the first frame, such as ``01:00:00:00``; empty where there is none."""
    for holder in (*container.streams.video, *container.streams, container):
        for key, code in holder.metadata.items():
            if key.lower() == "timecode" and code:
                return str(code)
    return ""


# --- planes and tags -----------------------------------------------------------------------------


def _plane(frame: Any, index: int, bits: int) -> NDArray[Any]:
    """The codes of a plane as an array (lines, samples and padding), not copied."""
    plane = frame.planes[index]
    kind = np.dtype(np.uint8 if bits == 8 else np.uint16)
    codes = np.frombuffer(plane, kind)
    return codes.reshape(plane.height, plane.line_size // kind.itemsize)


def _copy_alpha(frame: Any, result: Any, source_bits: int, target_bits: int) -> None:
    source = _plane(frame, 3, source_bits)[:, : frame.width]
    target = _plane(result, 3, target_bits)[:, : frame.width]
    if source_bits == target_bits:
        target[:] = source
        return
    factor = (2**target_bits - 1) / (2**source_bits - 1)
    target[:] = np.rint(source * factor)


def _factor(size: int, chroma_size: int) -> int:
    return 1 if chroma_size == size else 2 if chroma_size == -(-size // 2) else 0


def _tagged_range(context: Any, form: str) -> tuple[Range, list[str]]:
    if form.startswith("yuvj") or context.color_range == _FULL:
        return "full", []
    if context.color_range == _LEGAL:
        return "legal", []
    return "legal", ["the clip does not say its range: legal is assumed (--source-range)"]


def _tagged_matrix(context: Any, where: str | Path) -> tuple[Matrix, list[str]]:
    code = int(context.colorspace)
    if code in _MATRICES:
        return _MATRICES[code], []
    if code != _UNSPECIFIED:
        raise LutbenchError(
            f"the clip's Y'CbCr matrix has code point {code} of H.273, which is not read",
            where=where,
            accepted="BT.601, BT.709, BT.2020 (or --source-matrix to say that it is one)",
        )
    if int(context.color_primaries) == 9:
        matrix: Matrix = "BT.2020"
    else:
        matrix = "BT.709" if context.width > 1024 or context.height > 576 else "BT.601"
    return matrix, [f"the clip does not say its matrix: {matrix} is assumed (--source-matrix)"]


def _video(container: Any, path: str | Path) -> Any:
    if not container.streams.video:
        raise FormatError("holds no picture", where=path)
    return container.streams.video[0]


def _frame_count(container: Any, stream: Any) -> int | None:
    if stream.frames:
        return int(stream.frames)
    rate = stream.average_rate
    if rate and stream.duration and stream.time_base:
        return int(stream.duration * stream.time_base * rate + Fraction(1, 2))
    if rate and container.duration:
        return int(Fraction(container.duration, 1_000_000) * rate + Fraction(1, 2))
    return None


def _moments(container: Any, stream: Any, count: int) -> list[int]:
    """Times in the stream's own unit, in the middle of `count` equal parts."""
    if stream.duration:
        length = stream.duration
    elif container.duration and stream.time_base:
        length = int(container.duration / 1_000_000 / stream.time_base)
    else:
        return [0]
    frames = _frame_count(container, stream) or count
    count = max(1, min(count, frames))
    start = stream.start_time or 0
    return [start + int(length * (index + 0.5) / count) for index in range(count)]


def _frame_at(container: Any, stream: Any, moment: int) -> Any:
    """The frame on show at a time: the last that is not later, else the first after it."""
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
