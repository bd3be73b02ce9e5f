"""Write a transform to a file, in the format that the suffix names."""

from __future__ import annotations

from pathlib import Path

from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.formats.convert import ConvertOptions, convert
from lutbench.formats.registry import LutFile
from lutbench.model.transforms import Transform


def save(transform: Transform, path: str | Path, *, force: bool = False) -> Transform:
    """Write a transform, and return it as it reads back from the file.

    Raises LutbenchError when the format cannot hold it, or the file cannot be written.
    """
    if not isinstance(path, str | Path):
        raise LutbenchError(f"{path!r:.60} is not a path", accepted="a file name")
    title = getattr(transform, "title", "")
    converted = convert(LutFile(transform, "", title=title), path, ConvertOptions())
    files.write_bytes(path, converted.data, force=force)
    return converted.read_back.lut
