"""PNG files looked at before the image library, which prints words of its own about damage."""

from __future__ import annotations

import os
import zlib
from pathlib import Path
from typing import BinaryIO

from lutbench.errors import FormatError

# Bit depths by colour type: table 11.1 of the PNG specification (ISO/IEC 15948).
_DEPTHS = {0: (1, 2, 4, 8, 16), 2: (8, 16), 3: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16)}
_PALETTE = 3


def check_png(file: BinaryIO, path: Path) -> bool:
    """Refuse a PNG that is cut short, damaged by its checksums, or without header or picture.

    `file` stands behind the signature. Says whether the picture is interlaced: then
    the image library holds it as a whole.
    """
    size = os.fstat(file.fileno()).st_size
    seen: set[bytes] = set()
    name = b""
    colour_type, interlaced = 0, False
    while name != b"IEND":
        head = file.read(8)
        length, name = int.from_bytes(head[:4], "big"), head[4:]
        if len(head) < 8 or file.tell() + length + 4 > size:
            raise FormatError("the PNG file is cut short", where=path)
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
            raise FormatError("the PNG file does not begin with its one header", where=path)
        if name == b"IHDR":
            colour_type, interlaced = _colour_type(first, path), first[12] == 1
        seen.add(name)
    if b"IDAT" not in seen or (colour_type == _PALETTE and b"PLTE" not in seen):
        raise FormatError("the PNG file holds no picture", where=path)
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
    raise FormatError("the header of the PNG file is not one", where=path)
