"""Checks of stills, which are untrusted input, before any pixel is read."""

from __future__ import annotations

import os
import zlib
from pathlib import Path
from typing import Any, BinaryIO

from lutbench.errors import FormatError, LutbenchError

MEMORY_LIMIT = 1 << 30
"""Default limit of a picture's memory in bytes: 89 million pixels of three float32 values."""

MEMORY_VARIABLE = "LUTBENCH_PICTURE_MEMORY"
MOST_CHANNELS_READ = 1024
"""Largest number of channels of a file that is read; renderers write about a hundred."""

NOT_RGB = {"CMYK": "CMYK", "YCbCrK": "CMYK", "CIELAB": "CIELAB", "ICCLAB": "CIELAB"}
"""Colour models that the image library would convert to R G B only roughly, by its names."""


def memory_limit() -> int:
    """The memory limit of one picture in bytes: 1 GiB, or that of the environment variable."""
    text = os.environ.get(MEMORY_VARIABLE, "")
    if not text:
        return MEMORY_LIMIT
    if not text.isdigit() or int(text) < 1:
        raise LutbenchError(
            f"{text!r} is not a memory limit", where=MEMORY_VARIABLE, accepted="a number of MiB"
        )
    return int(text) << 20


def check_header(source: Any, header: Any, path: Path, limit: int, beside: int = 0) -> None:
    """Refuse a file that cannot be read as a picture, before anything is allocated.

    `beside` is the library's additional memory, in multiples of that of the pixels.
    """
    if header.deep:
        raise FormatError("holds deep pixels", where=path, accepted="one value per channel")
    if header.depth != 1 or header.width < 1 or header.height < 1:
        raise FormatError(
            f"{header.width}×{header.height}×{header.depth} is not a picture", where=path
        )
    colours = header.get_string_attribute(f"{source.format_name()}:ColorSpace")
    if colours in NOT_RGB:
        raise FormatError(
            f"holds {NOT_RGB[colours]} colours", where=path, accepted="R G B, grey or a palette"
        )
    if not 1 <= header.nchannels <= MOST_CHANNELS_READ:
        raise FormatError(
            f"has {header.nchannels} channels", where=path, accepted=f"1 to {MOST_CHANNELS_READ}"
        )
    formats = header.channelformats or (header.format,) * header.nchannels
    native = max(each.basesize() for each in formats) * header.nchannels
    beside *= header.width * header.height * native
    if header.tile_width:  # a row of tiles, twice
        across = -(-header.width // header.tile_width) * header.tile_width
        beside += 2 * across * header.tile_height * native
    check_size((header.width, header.height, header.nchannels), native, path, limit, beside)
    if source.seek_subimage(1, 0):
        raise FormatError("holds more than one picture", where=path, accepted="one picture")
    error_of(source)  # clears the error of the failed seek, which is expected
    source.seek_subimage(0, 0)


def check_size(size: tuple[int, int, int], pixel: int, path: Path, limit: int, beside: int) -> None:
    """Refuse a picture over the limit: `pixel` bytes for each pixel, and `beside` bytes more."""
    width, height, channels = size
    need = width * height * pixel
    # The pixels, and the row buffers of reader and writer.
    if need * 5 // 4 + beside + (64 << 20) > limit:
        raise LutbenchError(
            f"{width}×{height} with {channels} channels would take {_mebibytes(need + beside)} MiB",
            where=path,
            accepted=f"what fits a limit of {_mebibytes(limit)} MiB "
            f"(set {MEMORY_VARIABLE} to more MiB)",
        )


def error_of(thing: Any) -> str:
    """The error message of the image library on one line; the library forgets it."""
    try:
        text = thing.geterror()
    except UnicodeDecodeError:  # the message repeats bytes of the file
        text = ""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split())[:200] or "no reason given"


def _mebibytes(count: int) -> int:
    return -(-count >> 20)


# Bit depths by colour type: table 11.1 of the PNG specification (ISO/IEC 15948).
_DEPTHS = {0: (1, 2, 4, 8, 16), 2: (8, 16), 3: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16)}
_PALETTE = 3
"""The colour type of PNG whose pixels are indices of a palette (ISO/IEC 15948, table 11.1)."""


def check_png(file: BinaryIO, path: Path) -> bool:
    """Refuse a PNG that is truncated, has a wrong checksum, lacks its header or picture, or moves.

    `file` is positioned after the signature. Returns whether the picture is interlaced, in which
    case the image library keeps all of it in memory.
    """
    size = os.fstat(file.fileno()).st_size
    seen: set[bytes] = set()
    name = b""
    colour_type, interlaced = 0, False
    while name != b"IEND":
        head = file.read(8)
        length, name = int.from_bytes(head[:4], "big"), head[4:]
        if len(head) < 8 or file.tell() + length + 4 > size:
            raise FormatError("the PNG file is truncated", where=path)
        checksum = zlib.crc32(name)
        first = b""
        while length:
            part = file.read(min(length, 1 << 20))
            first = first or part
            checksum = zlib.crc32(part, checksum)
            length -= len(part)
        if file.read(4) != checksum.to_bytes(4, "big"):
            raise FormatError("the PNG file is damaged: a checksum is wrong", where=path)
        if (name == b"IHDR") != (not seen):
            raise FormatError("the PNG file does not begin with its only header", where=path)
        if name == b"IHDR":
            colour_type, interlaced = _colour_type(first, path), first[12] == 1
        seen.add(name)
    if b"IDAT" not in seen or (colour_type == _PALETTE and b"PLTE" not in seen):
        raise FormatError("the PNG file holds no picture", where=path)
    if b"acTL" in seen:
        raise FormatError("holds an animation", where=path, accepted="one picture")
    return interlaced


def _colour_type(header: bytes, path: Path) -> int:
    if len(header) == 13:
        width, height = int.from_bytes(header[:4], "big"), int.from_bytes(header[4:8], "big")
        depth, colour_type, compression, filtering, interlace = header[8:]
        if (
            0 < min(width, height) <= max(width, height) < 1 << 31
            and depth in _DEPTHS.get(colour_type, ())
            and compression == filtering == 0
            and interlace < 2
        ):
            return colour_type
    raise FormatError("the header of the PNG file is not valid", where=path)


MOST_SCANS = 100
"""Largest number of scans of a JPEG: a decoder passes over the whole picture for each; ten are
usual."""

_START_OF_FRAME = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}  # ITU-T T.81, table B.1
_SEQUENTIAL = {0xC0, 0xC1}
"""Markers of frames that are not progressive (ITU-T T.81, table B.1)."""

_START_OF_SCAN = 0xDA
"""The marker before coded pixels (ITU-T T.81, table B.1)."""

_ALONE = {0x01, *range(0xD0, 0xD9)}  # markers without a segment


def size_in_scans(file: BinaryIO, path: Path) -> tuple[int, int, int] | None:
    """Width, height and channels of a JPEG with several scans, else None.

    It is progressive, or has one scan for each channel. A decoder keeps all of its coefficients
    in memory, with two bytes for each. `file` is positioned after the signature, the marker of
    the start of the image.
    """
    sequential, size = True, (0, 0, 0)
    while len(head := file.read(2)) == 2 and head[0] == 0xFF:
        marker = head[1]
        if marker in _ALONE:
            continue
        if marker == 0xFF:  # a fill byte
            file.seek(-1, 1)
            continue
        length = int.from_bytes(file.read(2), "big")
        if marker == _START_OF_SCAN:
            whole = sequential and (file.read(1) or b"\0")[0] >= size[2]
            if whole:
                return None
            if _scans_left(file) >= MOST_SCANS:
                raise FormatError(
                    "the JPEG file has too many scans", where=path, accepted=f"up to {MOST_SCANS}"
                )
            return size
        body = file.read(max(0, length - 2))
        if marker in _START_OF_FRAME and len(body) > 5:
            height, width = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big")
            sequential, size = marker in _SEQUENTIAL, (width, height, body[5])
    return None


def _scans_left(file: BinaryIO) -> int:
    """The number of scans in the rest of the file; only a marker has these two bytes."""
    count, last = 0, b""
    while part := file.read(1 << 20):
        count += (last + part).count(bytes([0xFF, _START_OF_SCAN]))
        last = part[-1:]
    return count
