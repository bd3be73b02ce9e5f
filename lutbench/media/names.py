"""File names of stills, clips and frame patterns."""

from __future__ import annotations

import re
from pathlib import Path

STILL_SUFFIXES = {
    ".png": "png",
    ".jpg": "jpeg",
    ".jpeg": "jpeg",
    ".tif": "tiff",
    ".tiff": "tiff",
    ".exr": "openexr",
    ".dpx": "dpx",
}
"""Suffixes of stills, each with its format."""

CLIP_SUFFIXES = {
    ".mov": "prores",
    ".mp4": "h264",
    ".m4v": "h264",
    ".mkv": "ffv1",
    ".mxf": "dnxhr",
}
"""Suffixes of clips that are read and written, each with its usual codec."""

CLIP_SOURCE_SUFFIXES = (".avi", ".mts", ".m2ts", ".webm")
"""Suffixes of clips that are read, but not written."""

FRAME_NUMBER = re.compile(r"#+|%(?:0?(\d+))?d")
"""The placeholder for the frame number in a pattern."""


def is_clip(path: str | Path) -> bool:
    """Whether a file name's suffix is that of a clip that can be read."""
    return Path(path).suffix.lower() in (*CLIP_SUFFIXES, *CLIP_SOURCE_SUFFIXES)


def is_pattern(path: str | Path) -> bool:
    """Whether a path stands for many frames: it has a placeholder, and is not an existing file.

    >>> is_pattern("out/shot.####.dpx"), is_pattern("still.png")
    (True, False)
    """
    path = Path(path)
    return bool(FRAME_NUMBER.search(path.name)) and not path.exists()
