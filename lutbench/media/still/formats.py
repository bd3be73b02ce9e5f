"""What the formats of stills can hold."""

from __future__ import annotations

from pathlib import Path

from lutbench.errors import LutbenchError
from lutbench.media.names import STILL_SUFFIXES

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
JPEG_SIGNATURE = b"\xff\xd8"

# The depths a format can hold, least first.
DEPTHS: dict[str, tuple[str, ...]] = {
    "png": ("8", "16"),
    "jpeg": ("8",),
    "tiff": ("8", "10", "12", "16", "half", "float"),
    "openexr": ("half", "float"),
    "dpx": ("8", "10", "12", "16"),
}
MOST_CHANNELS = {"png": 4, "jpeg": 3, "dpx": 4}


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
    if suffix not in STILL_SUFFIXES:
        raise LutbenchError(
            f"the suffix {suffix!r} is none of a still",
            where=path,
            accepted=", ".join(STILL_SUFFIXES),
        )
    return STILL_SUFFIXES[suffix]


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
