"""The capabilities of still formats, and the header of a still that is written."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from lutbench.errors import LutbenchError
from lutbench.media.names import STILL_SUFFIXES
from lutbench.media.still.pixels import Still
from lutbench.media.tags import ColourTags, is_colour_attribute, tag_header

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
JPEG_SIGNATURE = b"\xff\xd8"

# The depths that a format can hold, smallest first.
DEPTHS: dict[str, tuple[str, ...]] = {
    "png": ("8", "16"),
    "jpeg": ("8",),
    "tiff": ("8", "10", "12", "16", "half", "float"),
    "openexr": ("half", "float"),
    "dpx": ("8", "10", "12", "16"),
}
MOST_CHANNELS = {"png": 4, "jpeg": 3, "dpx": 4}


def still_format(path: str | Path) -> str:
    """The format of a file name's suffix.

    >>> still_format("shot.0001.dpx")
    'dpx'

    Raises LutbenchError when it is not a suffix of stills.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in STILL_SUFFIXES:
        raise LutbenchError(
            f"{suffix!r} is not a suffix of stills",
            where=path,
            accepted=", ".join(STILL_SUFFIXES),
        )
    return STILL_SUFFIXES[suffix]


def output_depth(
    depth: str, format_name: str, wanted: str | None = None, *, where: str | Path = ""
) -> str:
    """The depth to write: `wanted` where given, else the smallest that loses nothing.

    >>> output_depth("10", "png"), output_depth("half", "dpx"), output_depth("8", "openexr")
    ('16', '16', 'half')
    """
    possible = DEPTHS[format_name]
    if wanted is not None:
        if wanted not in possible:
            raise LutbenchError(
                f"{format_name} cannot hold a depth of {wanted}",
                where=where,
                accepted=", ".join(possible),
            )
        return wanted
    if depth in possible:
        return depth
    order = ("8", "10", "12", "16", "half", "float")
    # Half has 11 bits of precision: enough for 8 and 10 bits, but not for more.
    enough = {"8": "half", "10": "half"}.get(depth, "float")
    if format_name == "openexr":
        return enough
    deeper = [each for each in possible if order.index(each) > order.index(depth)]
    return deeper[0] if deeper else possible[-1]


_JPEG_QUALITY = 95
"""JPEG quality of 100: no blocks are visible (common practice)."""

_PNG_LEVEL = 3
"""Compression level of 9: nearly as small as the usual 6, in little more than half the time."""


def output_header(still: Still, format_name: str, depth: str, tags: ColourTags) -> Any:
    import OpenImageIO as oiio

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
            # Attributes of a damaged header that the library cannot write are left out.
            with suppress(RuntimeError, TypeError, UnicodeDecodeError):
                if _passes(each.name, still.format, format_name):
                    _pass_on(header, each)
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
        # The writer would use the current time; the same picture must give the same file.
        moment = time.gmtime(still.modified)
        header.attribute("DateTime", time.strftime("%Y:%m:%d %H:%M:%S", moment))
    tag_header(header, format_name, tags)
    return header


def _pass_on(header: Any, each: Any) -> None:
    """Copy an attribute. Short integers, such as Exif's orientation, are only taken as int."""
    header.attribute(each.name, each.type, each.value)
    if header.getattribute(each.name) is None:
        values = each.value if isinstance(each.value, tuple) else (each.value,)
        kind = "int" if all(isinstance(value, int) for value in values) else "float"
        count = f"[{len(values)}]" if len(values) > 1 else ""
        header.attribute(each.name, f"{kind}{count}", each.value)


def name_in_header(path: Path, name: str) -> None:
    """Set the file name in a DPX header (SMPTE ST 268: byte 36, 100 bytes) to `name`.

    The writer puts the name of the temporary file there, which is different each time.
    """
    with open(path, "r+b") as file:
        file.seek(36)
        file.write(name.encode("ascii", "replace")[:99].ljust(100, b"\0"))


def _passes(name: str, source_format: str, target_format: str) -> bool:
    """Whether an attribute of the source's header is still true in that of the target."""
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
