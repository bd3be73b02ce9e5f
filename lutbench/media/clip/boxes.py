"""What a QuickTime or MP4 file says of its mastering display, beside a codec that cannot say it.

Boxes ``mdcv`` and ``clli`` of a video sample entry: ISO/IEC 14496-12 (from memory; checked
against FFmpeg's reader). FFmpeg's writer has them, but no door of PyAV leads there, so they are
put into the finished file: its ``moov`` box stands last, so nothing that it points to moves.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from lutbench.media.clip.volume import LUMINANCE, XY, Volume

FORMATS = {"mov", "mp4"}
"""FFmpeg's names of the writers whose files are of such boxes."""

_ENTRY = 86
"""Bytes of a video sample entry before the first box in it."""

_MOST_MOOV = 64 * 2**20
"""Bytes: an index of more samples than a day's recording has."""


def add_volume(path: Path, volume: Volume) -> bool:
    """Put the static metadata into a finished file; whether there was a place for it."""
    with open(path, "r+b") as file:
        end = file.seek(0, 2)
        start, size = next(_of_kind(_top(file, end), b"moov"), (0, 0))
        if not size or start + size != end or size > _MOST_MOOV:
            return False
        file.seek(start)
        moov = _with_boxes(bytearray(file.read(size)), _boxes(volume))
        if moov is None:
            return False
        file.seek(start)
        file.write(moov)
    return True


def _boxes(volume: Volume) -> bytes:
    found = b""
    if volume.mastering:
        red, green, blue, white = (volume.mastering[at : at + 2] for at in (0, 2, 4, 6))
        points = [round(each * XY) for pair in (green, blue, red, white) for each in pair]
        low, high = (round(each * LUMINANCE) for each in volume.mastering[8:])
        found += struct.pack(">I4s8H2I", 32, b"mdcv", *points, high, low)
    if volume.light:
        found += struct.pack(">I4s2H", 12, b"clli", *volume.light)
    return found


def _with_boxes(moov: bytearray, boxes: bytes) -> bytearray | None:
    """`moov` with boxes in the sample entry of its video track; None where it has none."""
    for track, size in _of_kind(_inside(moov, 8, len(moov)), b"trak"):
        chain, start, end = [0, track], track + 8, track + size
        for kind in (b"mdia", b"minf", b"stbl", b"stsd"):
            place, long = next(_of_kind(_inside(moov, start, end), kind), (0, 0))
            if not long or (kind == b"minf" and not _has(moov, place, long, b"vmhd")):
                break
            chain.append(place)
            start, end = place + 8, place + long
        else:
            entry = start + 8  # after version, flags and the count of entries
            at = entry + _ENTRY
            for each in (*chain, entry):
                (before,) = struct.unpack_from(">I", moov, each)
                struct.pack_into(">I", moov, each, before + len(boxes))
            return moov[:at] + boxes + moov[at:]
    return None


def _has(data: bytearray, place: int, size: int, kind: bytes) -> bool:
    return any(True for _ in _of_kind(_inside(data, place + 8, place + size), kind))


def _of_kind(boxes: Iterator[tuple[bytes, int, int]], kind: bytes) -> Iterator[tuple[int, int]]:
    return ((place, size) for name, place, size in boxes if name == kind)


def _inside(data: bytearray, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Name, place and size of the boxes from `start` to `end`."""
    while start + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, start)
        if size < 8:
            return
        yield name, start, size
        start += size


def _top(file: BinaryIO, end: int) -> Iterator[tuple[bytes, int, int]]:
    """The same of a whole file, whose ``mdat`` may have a size of 64 bits."""
    start = 0
    while start + 16 <= end:
        file.seek(start)
        size, name, long = struct.unpack(">I4sQ", file.read(16))
        size = long if size == 1 else size
        if size < 8:
            return
        yield name, start, size
        start += size
