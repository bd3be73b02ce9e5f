"""Writing a clip: the encoder, metadata and copied streams."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.clip.boxes import HELD, stream_that_says
from lutbench.media.clip.codecs import Choice, load_av
from lutbench.media.clip.coding import LEGAL, ClipCoding, plane_of, rgb_of, usual_siting
from lutbench.media.clip.cuts import Cuts, planar
from lutbench.media.clip.volume import Volume, leaves_alone
from lutbench.media.clip.ycbcr import Coding, Matrix, Siting, planes_from_rgb, planes_through
from lutbench.media.still.pixels import through
from lutbench.media.tags import ColourTags
from lutbench.model.transforms import Transform
from lutbench.tables.in_place import in_place
from lutbench.tables.programs import can_apply, plan

_MATRIX_CODES = {"BT.709": 1, "BT.601": 6, "BT.2020": 9}

# Metadata that is kept; the rest describes the source's container.
_KEPT = {
    *("title", "artist", "author", "comment", "description", "copyright", "keywords"),
    *("date", "creation_time", "location", "reel_name"),
}

# Frame rates in MXF (SMPTE ST 377-1 leaves them open; these are the ones that FFmpeg writes).
_MXF_RATES = {Fraction(n) for n in (24, 25, 30, 48, 50, 60)} | {
    Fraction(1000 * n, 1001) for n in (24, 30, 48, 60)
}


@dataclass(frozen=True)
class Rewriting:
    """How the pictures of a clip are converted to those of another."""

    transform: Transform
    """The transform from signal to signal."""
    coding: ClipCoding
    """How the clip's codes are read."""
    choice: Choice
    """The codec, depth and chroma of the output."""
    tags: ColourTags
    """The colours after the transform."""
    quality: int | None
    """The constant rate factor, for codecs that have one."""

    @property
    def matrix(self) -> Matrix:
        """The Y'CbCr matrix of the output: that of the target's gamut, else the clip's own."""
        if self.choice.codec.only_709:
            return "BT.709"
        if self.tags.gamut is not None:
            return "BT.2020" if self.tags.primaries == 9 else "BT.709"
        return self.coding.matrix or "BT.709"

    @property
    def target(self) -> Coding:
        """How the output's codes are written."""
        chroma = self.choice.chroma
        across = 2 if chroma in ("420", "422") else 1
        down = 2 if chroma == "420" else 1
        siting: Siting = "left"
        if down == 2:
            both = self.coding.chroma == "420"
            siting = self.coding.siting if both else usual_siting(self.matrix)
        return Coding(self.matrix, "legal", self.choice.bits, across, down, siting)

    def encoder_options(self) -> dict[str, str]:
        """The options of the encoder."""
        codec = self.choice.codec
        options = codec.options_for(self.choice.bits, self.quality if codec.quality else None)
        siting = {"chroma_sample_location": self.target.siting}
        return options | siting if self.choice.chroma == "420" else options


LONGEST_WAIT_SECONDS = 3600
"""Seconds that a frame can wait from its decoding until it is shown: no codec waits so long."""


def settle_decoding_time(packet: Any, base: Fraction) -> None:
    """Replace a decoding time that cannot be: libx265 gives one at random to a clip of one or two
    frames, which no container can hold."""
    if packet.pts is None or packet.dts is None:
        return
    if not 0 <= packet.pts - packet.dts <= LONGEST_WAIT_SECONDS / base:
        packet.dts = packet.pts


class ClipWriter:
    """The encoder of a clip; it sets the tags and times of its frames.

    `first` is the first frame of the clip, from which the writer takes the
    rotation of the picture and its mastering display.
    """

    def __init__(self, output: Any, source: Any, rewriting: Rewriting, first: Any) -> None:
        self.output, self.source = output, source
        self.transform, self.coding = rewriting.transform, rewriting.coding
        self.target, self.form = rewriting.target, rewriting.choice.form
        self.name = rewriting.choice.name
        self.chroma = ":".join(rewriting.choice.chroma)
        tags = rewriting.tags
        self.tags = (LEGAL, _MATRIX_CODES[self.target.matrix], tags.primaries, tags.transfer)
        self.rate = source.average_rate or source.guessed_rate or Fraction(25)
        volume, self.notes = _volume_kept(Volume.of(first), rewriting, output.format.name)
        self.stream = _added_stream(output, rewriting, self.rate, volume)
        self.even = output.format.name == "mxf"  # all frames have the same duration
        if self.even and self.rate not in _MXF_RATES:
            raise _uneven(f"on average {float(self.rate):.3f} per second")
        self.base = 1 / self.rate if self.even else source.time_base or 1 / self.rate
        self.shape = (source.codec_context.width, source.codec_context.height)
        self._set_up_encoder()
        self.cuts = Cuts(self.transform, self.coding, self.target)
        self.count = 0
        self.first: int | None = None
        self.has_begun = self.has_written = False
        self.change: Callable[[NDArray[np.float32]], None] | None = None
        if first.rotation and hasattr(self.stream, "set_display_rotation"):
            self.stream.set_display_rotation(first.rotation)
        _keep_metadata(source, output, self.stream)

    def _set_up_encoder(self) -> None:
        context = self.stream.codec_context
        context.width, context.height = self.shape
        context.pix_fmt = self.form
        context.thread_type = "AUTO"
        self.stream.time_base = context.time_base = self.base
        aspect = self.source.codec_context.sample_aspect_ratio
        if aspect:
            context.sample_aspect_ratio = aspect
        _set_tags(context, self.tags)

    def through(self, frame: Any) -> Any:
        """A new frame: `frame` through the transform, in the form of the output."""
        av = load_av()
        if (frame.width, frame.height) != self.shape:
            raise LutbenchError(
                f"the picture changes its size to {frame.width}×{frame.height} at {frame.time} s",
                accepted="a clip with one size",
            )
        if frame.interlaced_frame:
            raise LutbenchError("the clip is interlaced", accepted="progressive frames")
        result = av.VideoFrame(frame.width, frame.height, self.form)
        self._fill(result, frame)
        if self.form.startswith("yuva"):
            _copy_alpha(frame, result, self.coding.bits, self.target.bits)
        result.pts, result.time_base = self._time(frame)
        if frame.duration:
            result.duration = round(frame.duration * (frame.time_base or self.base) / self.base)
        _set_tags(result, self.tags)
        return result

    def _fill(self, result: Any, frame: Any) -> None:
        """Fill the planes of `result`, in one pass where the kernels support the transform."""
        y, cb, cr = (plane_of(result, index, self.target.bits) for index in range(3))
        if self.coding.matrix is None or not can_apply(self.transform):
            rgb = rgb_of(frame, self.coding)
            self.cuts.going_in(planar(rgb))
            rgb = through(self.transform, rgb)
            self.cuts.coming_out(planar(rgb))
            planes_from_rgb(rgb, y, cb, cr, self.target)
            return
        change = self.change = self.change or in_place(plan(self.transform))

        def counted(band: NDArray[np.float32]) -> None:
            self.cuts.going_in(band)
            change(band)
            self.cuts.coming_out(band)

        a, b, c = (plane_of(frame, index, self.coding.bits) for index in range(3))
        codings = (self.coding.ycbcr(), self.target)
        planes_through((a, b, c), (y, cb, cr), frame.width, codings, counted)

    def _time(self, frame: Any) -> tuple[int, Fraction]:
        """The time of a frame; where the clip has none, from the number of the frame."""
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

    def write(self, frame: Any) -> None:
        """Encode a frame and write its packets.

        Raises
        ------
        LutbenchError
            When the encoder does not take pictures of this size.
        """
        try:
            packets = self.stream.encode(frame)
        except load_av().FFmpegError as error:
            if self.has_begun:
                raise
            raise self._refused() from error
        self.has_begun = True
        self._mux(packets)
        self.has_written = self.has_written or bool(packets)

    def finish(self) -> None:
        """Write the packets that the encoder still holds."""
        self._mux(self.stream.encode(None))
        self.notes += self.cuts.notes()

    def _mux(self, packets: list[Any]) -> None:
        for packet in packets:
            settle_decoding_time(packet, self.base)
        self.output.mux(packets)

    def _refused(self) -> LutbenchError:
        width, height = self.shape
        return LutbenchError(
            f"{self.name} takes no {self.chroma} pictures of {width}×{height} pixels",
            accepted="an even width and height, and not too small; prores takes an odd height, "
            "ffv1 in 4:4:4 an odd width too",
        )


def copied_streams(container: Any, output: Any, audio: bool, notes: list[str]) -> dict[Any, Any]:
    """The sound streams, each with its stream in the output; other streams are noted."""
    copies: dict[Any, Any] = {}
    for stream in container.streams:
        if stream.type == "audio" and audio:
            if stream.codec_context.name not in output.supported_codecs:
                raise LutbenchError(
                    f"this kind of file cannot hold sound in {stream.codec_context.name}",
                    where=container.name,
                    accepted="another suffix (.mov, .mkv), or audio=False",
                )
            copies[stream] = output.add_stream_from_template(stream)
            for key in ("language", "title"):
                if key in stream.metadata:
                    copies[stream].metadata[key] = stream.metadata[key]
        elif (
            stream.type in ("subtitle", "data", "attachment") and "timecode" not in stream.metadata
        ):
            notes.append(f"a {stream.type} stream is left out")
    return copies


def time_code(container: Any) -> str:
    """The time code of the first frame, such as ``01:00:00:00``; empty where there is none."""
    for holder in (*container.streams.video, *container.streams, container):
        for key, code in holder.metadata.items():
            if key.lower() == "timecode" and code:
                return str(code)
    return ""


def _volume_kept(volume: Volume, rewriting: Rewriting, form: str) -> tuple[Volume, list[str]]:
    """The mastering metadata that the output gets, and notes about what is left out."""
    if volume.is_empty:
        return volume, []
    if not leaves_alone(rewriting.transform):
        return Volume(), [_left_out(volume, "the LUT changes the picture that it describes")]
    encoder = rewriting.choice.codec.encoder
    held = "both" if volume.options_for(encoder) else HELD.get(form, "")
    light = volume.light if held == "both" else ()
    kept = Volume(volume.mastering if held else (), light)
    rest = Volume((), () if light else volume.light, volume.dynamic)
    why = "this kind of file cannot hold it"
    notes = [] if rest.is_empty else [_left_out(rest, why)]
    return kept, notes


def _left_out(volume: Volume, why: str) -> str:
    return f"left out: {volume.words}: {why}"


def _added_stream(output: Any, rewriting: Rewriting, rate: Fraction, volume: Volume) -> Any:
    choice = rewriting.choice
    encoder = choice.codec.encoder
    options = rewriting.encoder_options()
    in_codec = volume.options_for(encoder)
    if in_codec:
        name = {"libx264": "x264-params", "libx265": "x265-params"}[encoder]
        parameters = [options.get(name, ""), *(f"{key}={of}" for key, of in in_codec.items())]
        options = options | {name: ":".join(filter(None, parameters))}
    try:
        if volume.is_empty or in_codec:
            return output.add_stream(encoder, rate=rate, options=options)
        stream = stream_that_says(volume, output, encoder, rate)
        stream.codec_context.options = options
        return stream
    except ValueError as error:  # raised for a codec that the format cannot hold
        raise LutbenchError(
            f"a {output.format.name} file cannot hold {choice.name}",
            accepted="another suffix, or another codec",
        ) from error


def _keep_metadata(source: Any, output: Any, stream: Any) -> None:
    """Copy the file's metadata, and the time code, from which the writer makes a track."""
    container = source.container
    for key, value in container.metadata.items():
        if key.lower() in _KEPT:
            output.metadata[key.lower()] = value
    for key in ("language", "title", "reel_name"):
        if key in source.metadata:
            stream.metadata[key] = source.metadata[key]
    code = time_code(container)
    if code:
        output.metadata["timecode"] = code


def _uneven(where: str) -> LutbenchError:
    return LutbenchError(
        f"the frames are not evenly spaced ({where}), as MXF requires",
        accepted="another suffix, such as .mov",
    )


def _set_tags(thing: Any, tags: tuple[int, int, int, int]) -> None:
    thing.color_range, thing.colorspace, thing.color_primaries, thing.color_trc = tags


def _copy_alpha(frame: Any, result: Any, source_bits: int, target_bits: int) -> None:
    source = plane_of(frame, 3, source_bits)[:, : frame.width]
    target = plane_of(result, 3, target_bits)[:, : frame.width]
    if source_bits == target_bits:
        target[:] = source
        return
    factor = (2**target_bits - 1) / (2**source_bits - 1)
    target[:] = np.rint(source * factor)
