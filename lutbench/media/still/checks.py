"""Stills are untrusted input: what is refused before a pixel is read."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from lutbench.errors import FormatError, LutbenchError

MEMORY_LIMIT = 1 << 30
MEMORY_VARIABLE = "LUTBENCH_PICTURE_MEMORY"
MOST_CHANNELS_READ = 1024


def memory_limit() -> int:
    """The memory one picture may take, in bytes: 1 GiB, or the environment's word in MiB."""
    text = os.environ.get(MEMORY_VARIABLE, "")
    if not text:
        return MEMORY_LIMIT
    if not text.isdigit() or int(text) < 1:
        raise LutbenchError(
            f"{text!r} is no memory limit", where=MEMORY_VARIABLE, accepted="a number of MiB"
        )
    return int(text) << 20


def check_header(source: Any, header: Any, path: Path, limit: int, beside: int = 0) -> None:
    """Refuse what cannot be a picture of ours, before anything is allocated.

    `beside` says how many times the pixels the library holds beside them.
    """
    if header.deep:
        raise FormatError("holds deep pixels", where=path, accepted="one value a channel and pixel")
    if header.depth != 1 or header.width < 1 or header.height < 1:
        raise FormatError(
            f"{header.width}×{header.height}×{header.depth} is no picture", where=path
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
        raise FormatError("holds more than one picture", where=path, accepted="one picture a file")
    error_of(source)  # not being able to go there is no fault
    source.seek_subimage(0, 0)


def check_size(size: tuple[int, int, int], pixel: int, path: Path, limit: int, beside: int) -> None:
    """Refuse a picture that would not fit the limit: `pixel` bytes each, and `beside` them."""
    width, height, channels = size
    need = width * height * pixel
    # The pixels, and beside them the row buffers of reader and writer.
    if need * 5 // 4 + beside + (64 << 20) > limit:
        raise LutbenchError(
            f"{width}×{height} with {channels} channels would take {_mebibytes(need + beside)} MiB",
            where=path,
            accepted=f"what fits a limit of {_mebibytes(limit)} MiB "
            f"(set {MEMORY_VARIABLE} to more MiB)",
        )


def error_of(thing: Any) -> str:
    """What the image library says went wrong, in one line."""
    try:
        text = thing.geterror()
    except UnicodeDecodeError:  # it repeats the file's own bytes
        text = ""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split())[:200] or "no reason given"


def _mebibytes(count: int) -> int:
    return -(-count >> 20)
