"""Stills: PNG, JPEG, TIFF, OpenEXR and DPX in and out, at the depth they were written in.

A file is untrusted input: its header is looked at, and refused when the picture
would not fit the memory limit, before any pixel is read. What the picture holds
beside R G B (alpha, depth, other layers) and its metadata go through untouched;
what the header says about *colour* does not, since it is no longer true after a
LUT (see `ColourTags`).
"""

from __future__ import annotations

import os
import shutil
import time
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.files import regular, replacing, unreadable
from lutbench.media.tags import NO_TAGS, ColourTags, is_colour_attribute, tag_header
from lutbench.tables.pixels import TYPES, apply_pixels, can_apply

if TYPE_CHECKING:
    from lutbench.model.transforms import Transform

SUFFIXES = {
    ".png": "png",
    ".jpg": "jpeg",
    ".jpeg": "jpeg",
    ".tif": "tiff",
    ".tiff": "tiff",
    ".exr": "openexr",
    ".dpx": "dpx",
}
# The depths a format can hold, least first.
DEPTHS: dict[str, tuple[str, ...]] = {
    "png": ("8", "16"),
    "jpeg": ("8",),
    "tiff": ("8", "10", "12", "16", "half", "float"),
    "openexr": ("half", "float"),
    "dpx": ("8", "10", "12", "16"),
}
MOST_CHANNELS = {"png": 4, "jpeg": 3, "dpx": 4}
MEMORY_LIMIT = 1 << 30
MEMORY_VARIABLE = "LUTBENCH_PICTURE_MEMORY"
MOST_CHANNELS_READ = 1024

_PNG_END = b"\0\0\0\0IEND\xaeB`\x82"
_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_BLOCK_PIXELS = 1 << 18
_JPEG_QUALITY = 95
_PNG_LEVEL = 3  # of 9: nearly as small as the usual 6, in little more than half the time


@dataclass(frozen=True, eq=False, repr=False)
class Still:
    """A picture in the depth of its file.

    Parameters
    ----------
    pixels
        Shape (height, width, channels). Integers are code values: 0..255,
        0..1023, 0..4095 or 0..65535 after `depth`; float16 and float32 are as
        in the file.
    channels
        The names of the channels, as many as the last axis is long.
    depth
        ``"8"``, ``"10"``, ``"12"``, ``"16"``, ``"half"`` or ``"float"``.
    premultiplied
        Whether the colours are already multiplied by alpha (OpenEXR, and TIFF
        when its header says so).
    """

    pixels: NDArray[Any]
    channels: tuple[str, ...]
    depth: str
    format: str = ""
    premultiplied: bool = False
    header: Any = field(default=None)
    modified: float = 0.0

    @property
    def width(self) -> int:
        """Pixels in a line."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Lines."""
        return int(self.pixels.shape[0])

    @property
    def full_scale(self) -> float:
        """The code value that stands for signal 1.0: 2^n − 1, and 1 for float."""
        return 1.0 if self.depth in ("half", "float") else float(2 ** int(self.depth) - 1)

    @property
    def metadata(self) -> dict[str, Any]:
        """What the header says, by name."""
        if self.header is None:
            return {}
        found = {}
        for each in self.header.extra_attribs:
            with suppress(UnicodeDecodeError):  # a text of bytes that are none
                found[each.name] = each.value
        return found

    def colour_indices(self) -> tuple[int, int, int]:
        """Where R, G and B sit among the channels."""
        found = _colour_indices(self.channels)
        if found is None:
            raise _no_colours(self.channels, "")
        return found

    def alpha_index(self) -> int | None:
        """Where alpha sits, or None."""
        folded = [name.casefold() for name in self.channels]
        return folded.index("a") if "a" in folded else None

    def signal(self) -> NDArray[np.float32]:
        """R G B as float32 signal values, shape (height, width, 3): 1.0 is `full_scale`."""
        r, g, b = self.colour_indices()
        rgb = self.pixels[..., [r, g, b]].astype(np.float32)
        if self.full_scale != 1.0:
            rgb /= np.float32(self.full_scale)
        return rgb

    def __repr__(self) -> str:
        names = " ".join(self.channels)
        return f"Still({self.width}×{self.height}, {names}, depth={self.depth})"


def still_format(path: str | Path) -> str:
    """The format that a file name's suffix stands for.

    >>> still_format("shot.0001.dpx")
    'dpx'

    Raises
    ------
    LutbenchError
        When the suffix is none of a still.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in SUFFIXES:
        raise LutbenchError(
            f"the suffix {suffix!r} is none of a still", where=path, accepted=", ".join(SUFFIXES)
        )
    return SUFFIXES[suffix]


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


def read_still(path: str | Path, *, limit: int | None = None) -> Still:
    """Read a still at its own depth.

    A grey picture comes as three equal channels; a palette, as what it stands for.

    Parameters
    ----------
    limit
        The memory that the picture may take, in bytes (`memory_limit` by default).

    Raises
    ------
    LutbenchError
        When the file cannot be read, is no still, has no R G B, or is too large.
    """
    oiio = _oiio()
    path = Path(path)
    still_format(path)
    modified = regular(path).st_mtime
    try:
        with open(path, "rb") as file:
            if file.read(len(_PNG_SIGNATURE)) == _PNG_SIGNATURE:
                _check_png(file, path)
    except OSError as error:
        raise unreadable(path, error) from error
    wanted = oiio.ImageSpec()
    wanted.attribute("oiio:UnassociatedAlpha", 1)  # the codes as they are, not multiplied by alpha
    source = oiio.ImageInput.open(str(path), wanted)
    if source is None:
        raise FormatError(f"is no readable still: {_error_of(oiio)}", where=path)
    try:
        header = source.spec()
        if source.format_name() not in DEPTHS:
            raise FormatError(
                f"holds a {source.format_name()} picture", where=path, accepted=", ".join(DEPTHS)
            )
        _check_header(source, header, path, memory_limit() if limit is None else limit)
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
    has_alpha = "a" in [name.casefold() for name in channels]
    return Still(pixels, channels, depth, format_name, has_alpha and not straight, header, modified)


def write_still(
    still: Still,
    path: str | Path,
    *,
    depth: str | None = None,
    tags: ColourTags = NO_TAGS,
    force: bool = False,
) -> list[str]:
    """Write a still, as a whole or not at all; what had to be left out comes back as notes.

    The format follows the suffix of `path`. The depth is the still's own where
    the format can hold it, else the next deeper one (DPX and PNG: 16 bit for
    float; JPEG: 8 bit). Colour tags of the source do not pass; `tags` says what
    the colours are now.

    Raises
    ------
    LutbenchError
        When the format cannot hold the depth asked for, or the file cannot be written.
    """
    oiio = _oiio()
    format_name = still_format(path)
    depth = output_depth(still.depth, format_name, depth, where=path)
    still, notes = _fitted(still, format_name, path)
    header = _output_header(still, format_name, depth, tags)
    with replacing(path, force=force) as temporary, _surely_written(temporary, path) as place:
        writer = oiio.ImageOutput.create(format_name)
        if writer is None or not writer.open(str(place), header):
            reason = _error_of(writer if writer else oiio)
            raise LutbenchError(f"cannot write: {reason}", where=path)
        try:
            fine = writer.write_image(_coded(still, depth))
            reason = _error_of(writer) if not fine else ""
        finally:
            fine = writer.close() and fine
        if not fine:
            raise LutbenchError(f"cannot write: {reason or _error_of(writer)}", where=path)
        if format_name == "dpx":
            _name_in_header(place, Path(path).name)
    return notes


def apply_to_still(transform: Transform, still: Still) -> Still:
    """Put R G B of a still through a transform, block by block, in place.

    Premultiplied colours are divided by alpha before and multiplied after, so
    that a soft edge keeps its colour; where alpha is 0 they go through as they
    are. Integers come out rounded to nearest and held inside the code range.

    Returns
    -------
    Still
        The same still, its pixels changed: a copy would double the memory.
    """
    view = _kernel_view(still)
    if view is not None and can_apply(transform):
        bits = None if still.full_scale == 1.0 else int(still.depth)
        apply_pixels(transform, view, bits=bits, out=view)
        return still
    alpha = still.alpha_index() if still.premultiplied else None
    scale = np.float32(still.full_scale)
    for rows in _blocks(still):
        rgb = _block_signal(rows, still, scale)
        if alpha is not None:
            cover = rows[..., alpha : alpha + 1].astype(np.float32) / scale
            cover = np.where(cover == 0, np.float32(1), cover)
            rgb /= cover
        rgb = through(transform, rgb)
        if alpha is not None:
            rgb = rgb * cover
        codes = rgb if scale == 1.0 else _rounded(rgb, float(scale))
        for position, channel in enumerate(still.colour_indices()):
            rows[..., channel] = codes[..., position]
    return still


def through(transform: Transform, rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """R G B through a transform: in place, in one pass of the kernels, where they take it."""
    if can_apply(transform):
        return apply_pixels(transform, rgb, out=rgb)
    return np.asarray(transform.apply(rgb), dtype=np.float32)


def output_depth(
    depth: str, format_name: str, wanted: str | None = None, *, where: str | Path = ""
) -> str:
    """The depth to write: `wanted` where given, else the nearest that loses nothing.

    >>> output_depth("10", "png"), output_depth("half", "dpx"), output_depth("8", "openexr")
    ('16', '16', 'half')
    """
    possible = DEPTHS[format_name]
    if wanted is not None:
        if wanted not in possible:
            raise LutbenchError(
                f"{format_name} holds no depth of {wanted}",
                where=where,
                accepted=", ".join(possible),
            )
        return wanted
    if depth in possible:
        return depth
    order = ("8", "10", "12", "16", "half", "float")
    # Half holds 11 bits: enough for 8 and 10, not for more.
    enough = {"8": "half", "10": "half"}.get(depth, "float")
    if format_name == "openexr":
        return enough
    deeper = [each for each in possible if order.index(each) > order.index(depth)]
    return deeper[0] if deeper else possible[-1]


# --- reading ---------------------------------------------------------------------------------


def _check_png(file: BinaryIO, path: Path) -> None:
    """Refuse a PNG file that is cut short or damaged, by the checksums of its chunks.

    The library below writes its own words about such a file to standard error.
    """
    size = os.fstat(file.fileno()).st_size
    name = b""
    while name != b"IEND":
        head = file.read(8)
        length, name = int.from_bytes(head[:4], "big"), head[4:]
        if len(head) < 8 or file.tell() + length + 4 > size:
            raise FormatError("the PNG file is cut short", where=path)
        checksum = zlib.crc32(name)
        while length:
            part = file.read(min(length, 1 << 20))
            checksum = zlib.crc32(part, checksum)
            length -= len(part)
        if file.read(4) != checksum.to_bytes(4, "big"):
            raise FormatError("the PNG file is damaged: a checksum is wrong", where=path)


def _check_header(source: Any, header: Any, path: Path, limit: int) -> None:
    """Refuse what cannot be a picture of ours, before anything is allocated."""
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
    need = header.width * header.height * native
    # The pixels, and beside them the row buffers of reader and writer.
    if need * 5 // 4 + (64 << 20) > limit:
        raise LutbenchError(
            f"{header.width}×{header.height} with {header.nchannels} channels would take "
            f"{_mebibytes(need)} MiB",
            where=path,
            accepted=f"what fits a limit of {_mebibytes(limit)} MiB "
            f"(set {MEMORY_VARIABLE} to more MiB)",
        )
    if source.seek_subimage(1, 0):
        raise FormatError("holds more than one picture", where=path, accepted="one picture a file")
    _error_of(source)  # not being able to go there is no fault
    source.seek_subimage(0, 0)


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
    """The channels to keep, in order; a grey one stands for three."""
    if _colour_indices(channels) is not None:
        return tuple(range(len(channels)))
    others = [index for index, name in enumerate(channels) if name.casefold() in ("a", "z")]
    grey = [index for index in range(len(channels)) if index not in others]
    if len(grey) != 1:
        raise _no_colours(channels, path)
    return (*grey * 3, *others)


def _colour_indices(channels: Sequence[str]) -> tuple[int, int, int] | None:
    """R, G, B by name; without them, those of the only layer that has all three."""
    folded = [name.casefold() for name in channels]
    layers = {name[:-1] for name in folded if name.endswith("r")}
    full = [
        layer for layer in layers if all(layer + c in folded for c in "rgb") and layer[-1:] in ".:"
    ]
    if all(c in folded for c in "rgb"):
        full = [""]
    if len(full) != 1:
        return None
    r, g, b = (folded.index(full[0] + c) for c in "rgb")
    return r, g, b


def _no_colours(channels: Sequence[str], path: str | Path) -> LutbenchError:
    names = ", ".join(channels[:12]) + (", …" if len(channels) > 12 else "")
    return FormatError(
        f"the channels are {names}",
        where=path,
        accepted="R, G, B in one layer, or one grey channel",
    )


def _read_pixels(source: Any, header: Any, depth: str, path: Path) -> NDArray[Any]:
    oiio = _oiio()
    kind = {"half": oiio.HALF, "float": oiio.FLOAT, "8": oiio.UINT8}.get(depth, oiio.UINT16)
    pixels = source.read_image(0, 0, 0, header.nchannels, kind)
    if pixels is None or source.has_error:
        raise FormatError(f"cannot be read: {_error_of(source)}", where=path)
    array = np.asarray(pixels)
    return array.reshape(header.height, header.width, header.nchannels)


def _to_codes(pixels: NDArray[Any], depth: str) -> None:
    """16-bit words back to the codes of the file: the reader fills them up from the left."""
    if depth in ("10", "12"):
        np.right_shift(pixels, 16 - int(depth), out=pixels)


def _mend_last_component(path: Path, pixels: NDArray[Any]) -> None:
    """Read the last sample of each line of a 10-bit DPX again.

    With four channels and a width of 3·n + 1, a line ends with a single sample in
    its last word, and the reader library returns a wrong value for that sample
    (seen in version 3.2: the writer is right, SMPTE ST 268 filled method A).
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


# --- pixels ----------------------------------------------------------------------------------


def _blocks(still: Still) -> Iterator[NDArray[Any]]:
    rows = max(1, _BLOCK_PIXELS // max(1, still.width))
    for start in range(0, still.height, rows):
        yield still.pixels[start : start + rows]


def _kernel_view(still: Still) -> NDArray[Any] | None:
    """R G B as a view that the kernels can work on in place, or None."""
    first, second, third = still.colour_indices()
    if still.pixels.dtype.name not in TYPES or (second, third) != (first + 1, first + 2):
        return None
    if still.premultiplied and still.alpha_index() is not None:
        return None
    view: NDArray[Any] = still.pixels[..., first : first + 3]
    return view if view.flags.writeable else None


def _block_signal(rows: NDArray[Any], still: Still, scale: np.float32) -> NDArray[np.float32]:
    rgb = np.empty((*rows.shape[:2], 3), np.float32)
    for position, channel in enumerate(still.colour_indices()):
        np.divide(rows[..., channel], scale, out=rgb[..., position], casting="unsafe")
    return rgb


def _rounded(signal: NDArray[np.float32], scale: float) -> NDArray[Any]:
    """Signal to code values: rounded to nearest, held in range, NaN to 0."""
    codes = np.nan_to_num(np.rint(signal * np.float32(scale)), nan=0.0, posinf=scale, neginf=0.0)
    kind = np.uint8 if scale == 255 else np.uint16
    return np.asarray(np.clip(codes, 0, scale), dtype=kind)


def _coded(still: Still, depth: str) -> NDArray[Any]:
    """The pixels as the writer wants them: 16-bit words are filled up from the left."""
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
        for start in range(0, still.height, 64):
            part = source[start : start + 64].astype(np.float32) / np.float32(still.full_scale)
            codes[start : start + 64] = _rounded(part, scale)
    if depth in ("10", "12"):
        bits = int(depth)
        return np.asarray(codes << (16 - bits) | codes >> (2 * bits - 16))
    return np.ascontiguousarray(codes)


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
                f"{format_name} holds R G B{' A' if most > 3 else ''} only: left out "
                + ", ".join(left[:8])
            )
        pixels = np.ascontiguousarray(pixels[..., keep])
        channels = ("R", "G", "B", "A")[: len(keep)]
    elif most is not None and len(channels) > most:
        notes.append(f"{format_name} holds R G B only: left out {', '.join(channels[most:])}")
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
            rows[..., channel] = value if scale == 1 else _rounded(value, float(scale))
    return pixels


# --- writing ---------------------------------------------------------------------------------


def _output_header(still: Still, format_name: str, depth: str, tags: ColourTags) -> Any:
    oiio = _oiio()
    kind = {"8": oiio.UINT8, "half": oiio.HALF, "float": oiio.FLOAT}.get(depth, oiio.UINT16)
    source = still.header
    header = oiio.ImageSpec(still.width, still.height, len(still.channels), kind)
    header.channelnames = still.channels
    if source is not None:
        for name in ("x", "y", "full_x", "full_y", "full_width", "full_height"):
            setattr(header, name, getattr(source, name))
        if still.format == format_name == "openexr":
            for name in ("tile_width", "tile_height"):
                setattr(header, name, getattr(source, name))
            if source.channelformats and len(source.channelformats) == len(still.channels):
                header.channelformats = source.channelformats
        for each in source.extra_attribs:
            # What the library itself cannot take back (a damaged header) stays out.
            with suppress(RuntimeError, TypeError, UnicodeDecodeError):
                if _passes(each.name, still.format, format_name):
                    header.attribute(each.name, each.type, each.value)
    alpha = still.alpha_index()
    if alpha is not None:
        header.alpha_channel = alpha
        if not still.premultiplied:
            header.attribute("oiio:UnassociatedAlpha", 1)
    if depth in ("10", "12") or format_name == "dpx":
        header.attribute("oiio:BitsPerSample", int(depth))
    if format_name == "png":
        header.attribute("png:compressionLevel", _PNG_LEVEL)
    if format_name == "jpeg":
        header.attribute("Compression", f"jpeg:{_JPEG_QUALITY}")
        if still.format != "jpeg":
            header.attribute("jpeg:subsampling", "4:4:4")
    if format_name in ("tiff", "openexr") and "DateTime" not in still.metadata:
        # The writer would put the time of day there: the same picture gives the same file.
        moment = time.gmtime(still.modified)
        header.attribute("DateTime", time.strftime("%Y:%m:%d %H:%M:%S", moment))
    tag_header(header, format_name, tags)
    return header


@contextmanager
def _surely_written(temporary: Path, path: str | Path) -> Iterator[Path]:
    """The path that the library is to write to, so that a full disk is noticed.

    Its JPEG writer ends the whole process on a full disk: it gets a file in
    memory, copied afterwards. Its PNG writer takes no notice at all: the end of
    the file is looked at.
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


def _name_in_header(path: Path, name: str) -> None:
    """The file name that a DPX header holds (SMPTE ST 268: byte 36, 100 bytes) becomes `name`.

    The writer puts the name of the temporary file there, another one each time.
    """
    with open(path, "r+b") as file:
        file.seek(36)
        file.write(name.encode("ascii", "replace")[:99].ljust(100, b"\0"))


def _passes(name: str, source_format: str, target_format: str) -> bool:
    """Whether an attribute of the source's header still holds in the target's."""
    if is_colour_attribute(name) or name.lower().startswith(("thumbnail", "oiio:")):
        return False
    if name.startswith("tiff:") or name in ("planarconfig",):
        return False
    if name.lower() in ("compression", "compressionquality"):
        return source_format == target_format != "jpeg"
    prefix = name.split(":", 1)[0].lower()
    own = {"dpx": "dpx", "openexr": "openexr", "jpeg": "jpeg", "png": "png"}
    if prefix in own:
        return own[prefix] == target_format == source_format
    return True


def _oiio() -> Any:
    import OpenImageIO

    return OpenImageIO


def _error_of(thing: Any) -> str:
    """What the image library says went wrong, in one line."""
    try:
        text = thing.geterror()
    except UnicodeDecodeError:  # it repeats the file's own bytes
        text = ""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split())[:200] or "no reason given"


def _mebibytes(count: int) -> int:
    return -(-count >> 20)
