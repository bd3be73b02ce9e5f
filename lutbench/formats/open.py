"""Opening a LUT file of any format that is read, told by its content; the files of a folder."""

from __future__ import annotations

import codecs
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from lutbench import files
from lutbench.errors import FormatError, LutbenchError
from lutbench.formats.registry import MAX_BYTES, LutFile, formats, recognised, suffixes
from lutbench.model.transforms import Transform

HEAD_BYTES = 64 * 1024
"""As much of a file tells its format."""


def open_lut(path: str | os.PathLike[str] | BinaryIO) -> Transform:
    """The LUT or transform in a file; its content, not its suffix, tells the format.

    Parameters
    ----------
    path
        A path; ``FILE#ID`` for one correction of a CDL file that holds several; ``-`` for
        standard input; or a stream of bytes that is open for reading.

    Returns
    -------
    Transform
        A `Lut1D`, `Lut3D` or `ShaperLut3D`; of other files what they say, exactly.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or is in no format that is read.
    """
    return read_lut_file(path).lut


def read_lut_file(path: str | os.PathLike[str] | BinaryIO) -> LutFile[Transform]:
    """As `open_lut`, with the name of the format and notes of what was tolerated."""
    if not isinstance(path, str | os.PathLike):
        return _read_stream(path)
    path = Path(path) if not isinstance(path, str) else path
    if path == "-":
        return _read_stream(sys.stdin.buffer, "standard input")
    path, wanted = _with_fragment(path)
    return parse_lut(files.read_bytes(path, limit=MAX_BYTES), str(path), wanted)


def _read_stream(stream: Any, name: str = "") -> LutFile[Transform]:
    """What a stream of bytes holds, as far as a file may be long."""
    read = getattr(stream, "read", None)
    if not callable(read):
        raise LutbenchError(
            f"{stream!r:.60} is not a LUT file", accepted="a path, or a stream of bytes"
        )
    given = getattr(stream, "name", "")
    name = name or (given if isinstance(given, str) else "") or "a stream"
    try:
        data = read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        raise LutbenchError(f"cannot read: {error}", where=name) from error
    if not isinstance(data, bytes):
        raise LutbenchError("a stream of text", where=name, accepted="a stream of bytes")
    if len(data) > MAX_BYTES:
        raise LutbenchError("is too large", where=name, accepted=f"up to {MAX_BYTES} bytes")
    return parse_lut(data, name)


def parse_lut(data: bytes, where: str, wanted: str | None = None) -> LutFile[Transform]:
    """What the bytes of a file hold; `where` names it, `wanted` is the id of a correction."""
    head = data[:HEAD_BYTES].removeprefix(codecs.BOM_UTF8).lstrip()
    suffix = Path(where).suffix.lower()
    found = recognised(head, suffix)
    what = _kind(head)
    if found is None and head.startswith(b"<"):
        # Its root is not at the beginning, or it is not well-formed, which is said here.
        from lutbench.formats import safe_xml

        root = safe_xml.name(safe_xml.parse(data, where))
        found = recognised(f"<{root}>".encode(), suffix)
        what = f"it is XML of another kind, <{root[:40]}>"
    if found is None:
        raise FormatError(
            f"is not a LUT file that is read: {what}", where=where, accepted=_accepted()
        )
    if wanted is not None and not found.ids:
        raise FormatError("has no corrections with ids", where=where, accepted="a CDL file")
    return found.parse(data, where, wanted)


def _accepted() -> str:
    return ", ".join(each.says for each in formats())


def _with_fragment(path: str | Path) -> tuple[str | Path, str | None]:
    """The path, and the id after ``#`` where no file has the whole name."""
    base, separator, fragment = str(path).rpartition("#")
    if not separator or not base or os.path.exists(path):  # which takes any name, long or odd
        return path, None
    return base, fragment


def _kind(head: bytes) -> str:
    """A word on what the file is instead."""
    if not head:
        return "it is empty"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "it is UTF-16 text"
    if b"\0" in head:
        return "it is binary data"
    first = head.splitlines()[0][:40].decode("latin-1")
    return f"it begins with {''.join(c if c.isprintable() else ' ' for c in first)!r}"


@dataclass(frozen=True)
class NamedFile:
    """A file, and its name as seen from where it was named: that of a folder or its own."""

    path: str
    name: str


def lut_files(given: Sequence[str], *, luts_only: bool = False) -> tuple[list[NamedFile], bool]:
    """The files meant, and whether several may come: folders are searched through.

    In a folder only files count whose suffix is that of a format that is read; with
    `luts_only` of one that can hold a LUT.

    Raises
    ------
    LutbenchError
        For a folder without a LUT.
    """
    accepted = suffixes(luts_only=luts_only)
    files: list[NamedFile] = []
    many = len(given) > 1
    if many and "-" in given:
        raise LutbenchError("stands for one LUT, on standard input", where="-", accepted="- alone")
    for name in given:
        path = Path(name)
        if not path.is_dir():
            files.append(NamedFile(name, path.name))
            continue
        many = True
        found = (each for each in path.rglob("*") if each.suffix.lower() in accepted)
        inside = sorted(filter(Path.is_file, found), key=lambda each: str(each).casefold())
        if not inside:
            raise LutbenchError(
                "holds no LUT", where=path, accepted=f"files that end in {', '.join(accepted)}"
            )
        files += [NamedFile(str(each), str(each.relative_to(path))) for each in inside]
    return files, many
