"""An output stream with mastering display metadata, for codecs that cannot hold it themselves.

FFmpeg's muxers (QuickTime, MP4, Matroska, MXF) write the mastering display of a stream, whatever
its codec, but PyAV has no call to set it. PyAV can use a stream of an open file as a template.
Therefore a clip of one small frame is made in memory, with boxes ``mdcv`` and ``clli``
(ISO/IEC 14496-12; from memory, checked against FFmpeg's reader), and serves as the template.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import numpy as np

from lutbench.media.clip.codecs import load_av
from lutbench.media.clip.volume import UNITS_PER_CD_M2, UNITS_PER_XY, Volume

HELD = {"mov": "both", "mp4": "both", "matroska": "both", "mxf": "mastering"}
"""What each of FFmpeg's muxers writes: its MXF muxer writes the display, no light levels."""

_NAMES = {"prores": b"apch", "dnxhd": b"AVdh", "ffv1": b"FFV1"}
"""Names of codecs in a sample entry, by encoder."""

_ENTRY_BYTES = 86
"""Bytes of a video sample entry before the first box in it."""


def stream_that_says(volume: Volume, output: Any, encoder: str, rate: Fraction) -> Any:
    """Add a video stream for one of FFmpeg's encoders, with the static metadata, to `output`.

    Raises ValueError, by PyAV, if this kind of file cannot hold the codec.
    """
    clip = _small_clip()
    place, size = next(_boxes_of(clip, b"moov", 0, len(clip)))
    moov = _with_boxes(bytearray(clip[place : place + size]), _boxes(volume), _NAMES[encoder])
    with load_av().open(io.BytesIO(clip[:place] + moov)) as model:
        stream = output.add_stream_from_template(model.streams.video[0], opaque=False)
    stream.codec_context.framerate = rate
    return stream


def _small_clip() -> bytes:
    """A QuickTime file of one black frame, with its index at the end."""
    av = load_av()
    file = io.BytesIO()
    with av.open(file, "w", format="mov") as output:
        stream = output.add_stream("prores", rate=25)
        stream.width = stream.height = 16
        stream.pix_fmt = "yuv422p10le"
        black = av.VideoFrame.from_ndarray(np.zeros((16, 16, 3), np.uint8))
        output.mux(stream.encode(black.reformat(format=stream.pix_fmt)))
        output.mux(stream.encode(None))
    return file.getvalue()


def _boxes(volume: Volume) -> bytes:
    found = b""
    if volume.mastering:
        red, green, blue, white = (volume.mastering[at : at + 2] for at in (0, 2, 4, 6))
        points = [round(each * UNITS_PER_XY) for pair in (green, blue, red, white) for each in pair]
        low, high = (round(each * UNITS_PER_CD_M2) for each in volume.mastering[8:])
        found += struct.pack(">I4s8H2I", 32, b"mdcv", *points, high, low)
    if volume.light:
        found += struct.pack(">I4s2H", 12, b"clli", *volume.light)
    return found


def _with_boxes(moov: bytearray, boxes: bytes, codec: bytes) -> bytearray:
    """`moov` of one video track, with another codec's name and boxes in its sample entry."""
    parents = []
    start, end = 0, len(moov)
    for kind in (b"moov", b"trak", b"mdia", b"minf", b"stbl", b"stsd"):
        place, size = next(_boxes_of(moov, kind, start, end))
        parents.append(place)
        start, end = place + 8, place + size
    entry = start + 8  # after version, flags and the count of entries
    for each in (*parents, entry):
        (before,) = struct.unpack_from(">I", moov, each)
        struct.pack_into(">I", moov, each, before + len(boxes))
    moov[entry + 4 : entry + 8] = codec
    return moov[: entry + _ENTRY_BYTES] + boxes + moov[entry + _ENTRY_BYTES :]


def _boxes_of(
    data: bytes | bytearray, kind: bytes, start: int, end: int
) -> Iterator[tuple[int, int]]:
    """Position and size of the boxes of a kind from `start` to `end`."""
    while start + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, start)
        if name == kind:
            yield start, size
        start += size
