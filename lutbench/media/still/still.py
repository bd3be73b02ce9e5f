"""Reading and writing stills: PNG, JPEG, TIFF, OpenEXR and DPX, at the depth of the file.

A file is untrusted input: its header is checked, and a picture over the memory limit refused,
before any pixel is read. Channels besides R G B (alpha, depth, other layers) and metadata are
kept unchanged, except metadata about *colour*, which is no longer true after a LUT (see
`ColourTags`).
"""

from __future__ import annotations

import math
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.files import regular, replacing, unreadable
from lutbench.media.still.checks import check_header, check_size, error_of, memory_limit
from lutbench.media.still.formats import (
    DEPTHS,
    JPEG_SIGNATURE,
    MOST_CHANNELS,
    PNG_SIGNATURE,
    name_in_header,
    output_depth,
    output_header,
)
from lutbench.media.still.formats import still_format as still_format
from lutbench.media.still.pixels import Still as Still
from lutbench.media.still.pixels import apply_to_still as apply_to_still
from lutbench.media.still.pixels import colour_indices_of, no_colours, rounded, triangular
from lutbench.media.tags import NO_TAGS, ColourTags

_PNG_END = b"\0\0\0\0IEND\xaeB`\x82"

BAND_LINES = 256
"""Lines read at a time: as many as the tallest compressed block of OpenEXR (DWAB) has."""


def read_still(path: str | Path, *, limit: int | None = None) -> Still:
    """Read a still at its own depth.

    A grey picture gives three equal channels; a palette is resolved.

    Parameters
    ----------
    limit
        The memory limit of the picture in bytes; `memory_limit()` by default.

    Raises
    ------
    LutbenchError
        When the file cannot be read, is not a still, has no R G B, or is too large.
    """
    oiio = _oiio()
    path = Path(path)
    still_format(path)
    modified = regular(path).st_mtime
    limit = memory_limit() if limit is None else limit
    beside = _held_beside(path, limit)
    wanted = oiio.ImageSpec()
    wanted.attribute("oiio:UnassociatedAlpha", 1)  # codes are not to be multiplied by alpha
    source = oiio.ImageInput.open(str(path), wanted)
    if source is None:
        raise FormatError(f"is not a readable still: {error_of(oiio)}", where=path)
    try:
        header = source.spec()
        if source.format_name() not in DEPTHS:
            raise FormatError(
                f"holds a {source.format_name()} picture", where=path, accepted=", ".join(DEPTHS)
            )
        check_header(source, header, path, limit, beside)
        channels = tuple(header.channelnames)
        depth = _depth_of(header, path)
        kept = _kept_channels(channels, path)
        pixels = _read_pixels(source, header, depth, path)
        format_name = str(source.format_name())
    finally:
        source.close()
    if format_name == "dpx" and depth == "10":
        _mend_last_component(path, pixels)
    _to_codes(pixels, depth)
    if kept != tuple(range(len(channels))):
        pixels = np.ascontiguousarray(pixels[..., list(kept)])
        channels = ("R", "G", "B", *(channels[index] for index in kept[3:]))
    straight = header.get_int_attribute("oiio:UnassociatedAlpha") or format_name not in (
        "openexr",
        "tiff",
    )
    return Still(pixels, channels, depth, format_name, not straight, header, modified)


def write_still(
    still: Still,
    path: str | Path,
    *,
    depth: str | None = None,
    tags: ColourTags = NO_TAGS,
    force: bool = False,
    dither: int | None = None,
) -> list[str]:
    """Write a still, completely or not at all; returns notes on what had to be left out.

    The format is that of the suffix of `path`. The depth is that of the still where the format
    can hold it, else the next larger one (DPX and PNG: 16 bits for float; JPEG: 8 bits). Colour
    tags of the source are dropped; `tags` are those of the result. `dither` is the seed of noise
    of one code, which prevents banding where the depth gets smaller; the same seed gives the
    same bytes.

    Raises
    ------
    LutbenchError
        When the format cannot hold the depth, or the file cannot be written.
    """
    oiio = _oiio()
    format_name = still_format(path)
    depth = output_depth(still.depth, format_name, depth, where=path)
    still, notes = _fitted(still, format_name, path)
    header = output_header(still, format_name, depth, tags)
    with replacing(path, force=force) as temporary, _surely_written(temporary, path) as place:
        writer = oiio.ImageOutput.create(format_name)
        if writer is None or not writer.open(str(place), header):
            reason = error_of(writer if writer else oiio)
            raise LutbenchError(f"cannot write: {reason}", where=path)
        fine = False
        try:
            fine = writer.write_image(_coded(still, depth, dither))
            reason = error_of(writer) if not fine else ""
        finally:
            fine = writer.close() and fine
        if not fine:
            reason = (reason or error_of(writer)).replace(str(place), str(path))
            raise LutbenchError(f"cannot write: {reason}", where=path)
        if format_name == "dpx":
            name_in_header(place, Path(path).name)
    return notes


# --- reading ---------------------------------------------------------------------------------


def _held_beside(path: Path, limit: int) -> int:
    """The library's additional memory, in multiples of that of the pixels.

    Files about which the library would print its own messages, or for which it would exceed the
    limit as soon as it opens them, are refused.
    """
    try:
        with open(path, "rb") as file:
            if file.read(len(PNG_SIGNATURE)) == PNG_SIGNATURE:
                from lutbench.media.still.checks import check_png

                return 1 if check_png(file, path) else 0
            file.seek(0)
            if file.read(len(JPEG_SIGNATURE)) == JPEG_SIGNATURE:
                from lutbench.media.still.checks import size_in_scans

                if size := size_in_scans(file, path):
                    samples = math.prod(size)
                    check_size(size, size[2], path, limit, 2 * samples)
                    return 2
    except OSError as error:
        raise unreadable(path, error) from error
    return 0


def _depth_of(header: Any, path: Path) -> str:
    formats = {str(each) for each in header.channelformats} or {str(header.format)}
    bits = header.get_int_attribute("oiio:BitsPerSample")
    if formats == {"uint8"}:
        return "8"
    if formats == {"uint16"}:
        return str(bits) if bits in (10, 12) else "16"
    if formats == {"half"}:
        return "half"
    if formats <= {"half", "float"}:
        return "float"
    raise FormatError(
        f"holds {' and '.join(sorted(formats))} samples",
        where=path,
        accepted="unsigned integers of 8 to 16 bit, half, float",
    )


def _kept_channels(channels: Sequence[str], path: Path) -> tuple[int, ...]:
    """The channels to keep, in order; a grey one is used three times."""
    if colour_indices_of(channels) is not None:
        return tuple(range(len(channels)))
    others = [index for index, name in enumerate(channels) if name.casefold() in ("a", "z")]
    grey = [index for index in range(len(channels)) if index not in others]
    if len(grey) != 1:
        raise no_colours(channels, path)
    return (*grey * 3, *others)


def _read_pixels(source: Any, header: Any, depth: str, path: Path) -> NDArray[Any]:
    """The pixels, read in bands: the library copies what it reads, and a full copy is too large."""
    oiio = _oiio()
    kinds = {
        "half": (oiio.HALF, np.float16),
        "float": (oiio.FLOAT, np.float32),
        "8": (oiio.UINT8, np.uint8),
    }
    kind, number = kinds.get(depth, (oiio.UINT16, np.uint16))
    pixels = np.empty((header.height, header.width, header.nchannels), number)
    tall = header.tile_height or BAND_LINES
    for start in range(0, header.height, tall):
        end = min(start + tall, header.height)
        lines = (header.y + start, header.y + end)
        if header.tile_width:
            across = (header.x, header.x + header.width)
            band = source.read_tiles(*across, *lines, 0, 1, 0, header.nchannels, kind)
        else:
            band = source.read_scanlines(*lines, 0, 0, header.nchannels, kind)
        if band is None or source.has_error:
            raise FormatError(f"cannot be read: {error_of(source)}", where=path)
        pixels[start:end] = np.asarray(band).reshape(end - start, header.width, -1)
    return pixels


def _to_codes(pixels: NDArray[Any], depth: str) -> None:
    """Change 16-bit words back to the codes of the file, which are in their highest bits."""
    if depth in ("10", "12"):
        np.right_shift(pixels, 16 - int(depth), out=pixels)


def _mend_last_component(path: Path, pixels: NDArray[Any]) -> None:
    """Read the last sample of each line of a 10-bit DPX again.

    With four channels and a width of 3·n + 1, a line ends with a single sample in its last word,
    and the library reads a wrong value for that sample (seen in version 3.2; its writer is right:
    SMPTE ST 268, filled, method A).
    """
    height, width, channels = pixels.shape
    if width * channels % 3 != 1:
        return
    with open(path, "rb") as file:
        head = file.read(2048)
        big = head[:4] == b"SDPX"
        offset = int.from_bytes(head[4:8], "big" if big else "little")
        packing = int.from_bytes(head[804:806], "big" if big else "little")
        words = -(-width * channels // 3)
        if packing != 1:
            return
        for line in range(height):
            file.seek(offset + (line * words + words - 1) * 4)
            word = int.from_bytes(file.read(4), "big" if big else "little")
            code = word >> 22
            pixels[line, -1, -1] = code << 6 | code >> 4


# --- writing ---------------------------------------------------------------------------------


@contextmanager
def _surely_written(temporary: Path, path: str | Path) -> Iterator[Path]:
    """The path for the library to write to, so that a full disk is noticed.

    Its JPEG writer ends the process when the disk is full, so it gets a file in memory, which
    is copied afterwards. Its PNG writer does not notice, so the end of the file is checked.
    """
    suffix = still_format(path)
    if suffix == "jpeg" and hasattr(os, "memfd_create"):
        with open(os.memfd_create("lutbench"), "rb") as memory:
            yield Path(f"/proc/self/fd/{memory.fileno()}")
            with open(temporary, "wb") as file:
                shutil.copyfileobj(memory, file)
        return
    yield temporary
    if suffix == "png":
        with open(temporary, "rb") as file:
            file.seek(-min(len(_PNG_END), os.path.getsize(temporary)), os.SEEK_END)
            if file.read() != _PNG_END:
                raise LutbenchError("cannot write: the disk is full or fails", where=path)


def _coded(still: Still, depth: str, dither: int | None = None) -> NDArray[Any]:
    """The pixels as the writer needs them: codes are in the highest bits of 16-bit words."""
    source = still.pixels
    if depth == still.depth:
        codes = source
    elif depth in ("half", "float"):
        kind = np.float16 if depth == "half" else np.float32
        codes = np.empty(source.shape, kind)
        for start in range(0, still.height, 64):
            part = source[start : start + 64].astype(np.float32) / np.float32(still.full_scale)
            codes[start : start + 64] = part
    else:
        scale = float(2 ** int(depth) - 1)
        codes = np.empty(source.shape, np.uint8 if depth == "8" else np.uint16)
        noise = None if dither is None else np.random.default_rng(dither)
        for start in range(0, still.height, 64):
            part = source[start : start + 64].astype(np.float32) / np.float32(still.full_scale)
            if noise is not None:
                part += triangular(noise, part.shape) / np.float32(scale)
            codes[start : start + 64] = rounded(part, scale)
    if depth in ("10", "12"):
        return _filled_up(codes, int(depth))
    return np.ascontiguousarray(codes)


def _filled_up(codes: NDArray[Any], bits: int) -> NDArray[Any]:
    """Codes of `bits` in the highest bits of 16-bit words; their highest bits fill the rest."""
    words = np.empty(codes.shape, np.uint16)
    for start in range(0, len(codes), BAND_LINES):  # in bands, which stay in the cache
        part, into = codes[start : start + BAND_LINES], words[start : start + BAND_LINES]
        np.left_shift(part, 16 - bits, out=into)
        into |= part >> (2 * bits - 16)
    return words


def _fitted(still: Still, format_name: str, path: str | Path) -> tuple[Still, list[str]]:
    """The still with the channels, and the kind of alpha, that the format can hold."""
    notes: list[str] = []
    pixels, channels, premultiplied = still.pixels, still.channels, still.premultiplied
    most = MOST_CHANNELS.get(format_name)
    colours = still.colour_indices()
    alpha = still.alpha_index()
    wants = {"openexr": True, "tiff": premultiplied}.get(format_name, False)
    if alpha is not None and wants != premultiplied:
        pixels = _with_alpha_kind(still, colours, alpha, wants)
        premultiplied = wants
    if most is not None and channels != ("R", "G", "B", "A")[: len(channels)]:
        keep = [*colours, *([alpha] if alpha is not None and most > 3 else [])]
        left = [name for index, name in enumerate(channels) if index not in keep]
        if left:
            notes.append(
                f"{format_name} can hold only R G B{' A' if most > 3 else ''}: left out "
                + ", ".join(left[:8])
            )
        pixels = np.ascontiguousarray(pixels[..., keep])
        channels = ("R", "G", "B", "A")[: len(keep)]
    elif most is not None and len(channels) > most:
        notes.append(f"{format_name} can hold only R G B: left out {', '.join(channels[most:])}")
        pixels, channels = np.ascontiguousarray(pixels[..., :most]), channels[:most]
    fitted = Still(
        pixels, channels, still.depth, still.format, premultiplied, still.header, still.modified
    )
    return fitted, notes


def _with_alpha_kind(
    still: Still, colours: tuple[int, int, int], alpha: int, premultiply: bool
) -> NDArray[Any]:
    pixels = still.pixels.copy()
    scale = np.float32(still.full_scale)
    for start in range(0, still.height, 64):
        rows = pixels[start : start + 64]
        cover = rows[..., alpha].astype(np.float32) / scale
        cover = np.where(cover == 0, np.float32(1), cover) if not premultiply else cover
        for channel in colours:
            value = rows[..., channel].astype(np.float32) / scale
            value = value * cover if premultiply else value / cover
            rows[..., channel] = value if scale == 1 else rounded(value, float(scale))
    return pixels


def _oiio() -> Any:
    import OpenImageIO

    return OpenImageIO
