"""JPEG files looked at before the image library, which holds some of them whole in memory."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from lutbench.errors import FormatError

MOST_SCANS = 100
"""A scan of a few bytes makes a decoder walk over the whole picture; ten are usual."""

_START_OF_FRAME = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}  # ITU-T T.81, table B.1
_SEQUENTIAL = {0xC0, 0xC1}
_START_OF_SCAN = 0xDA
_ALONE = {0x01, *range(0xD0, 0xD9)}  # markers without a segment


def size_in_scans(file: BinaryIO, path: Path) -> tuple[int, int, int] | None:
    """Width, height and channels of a picture that comes in several scans, else None.

    That is a progressive one, or one channel after the other. A decoder holds the
    coefficients of the whole of it, of two bytes each. `file` stands behind the
    signature, the marker of the start of the image.
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
    """How many scans begin in the rest of the file: no other bytes than a marker's are such."""
    count, last = 0, b""
    while part := file.read(1 << 20):
        count += (last + part).count(bytes([0xFF, _START_OF_SCAN]))
        last = part[-1:]
    return count
