"""Open a LUT file of any known format, recognised by its content; find the LUTs of a folder."""

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
"""Bytes at the start of a file by which its format is recognised."""


def open_lut(path: str | os.PathLike[str] | BinaryIO) -> Transform:
    """The LUT or transform in a file, whose format is recognised by its content, not its suffix.

    Parameters
    ----------
    path
        A path; ``FILE#ID`` for one correction of a CDL file that holds several; ``-`` for
        standard input; or a stream of bytes that is open for reading.

    Returns
    -------
    Transform
        A `Lut1D`, `Lut3D` or `ShaperLut3D`; for other files their exact transform.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or its format is not known.
    """
    return read_lut_file(path).lut


def read_lut_file(path: str | os.PathLike[str] | BinaryIO) -> LutFile[Transform]:
    """As `open_lut`, with the name of the format and notes on what was tolerated."""
    if not isinstance(path, str | os.PathLike):
        return _read_stream(path)
    path = Path(path) if not isinstance(path, str) else path
    if path == "-":
        return _read_stream(sys.stdin.buffer, "standard input")
    path, wanted = _with_fragment(path)
    return parse_lut(files.read_bytes(path, limit=MAX_BYTES), str(path), wanted)


def _read_stream(stream: Any, name: str = "") -> LutFile[Transform]:
    """The LUT in a stream of bytes, which may be as long as a file."""
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
    """The LUT in the bytes of a file; `where` names it, `wanted` is the id of a correction.

    Raises FormatError when the format is not known, or the file does not follow it.
    """
    head = data[:HEAD_BYTES].removeprefix(codecs.BOM_UTF8).lstrip()
    suffix = Path(where).suffix.lower()
    found = recognised(head, suffix)
    what = _kind(head)
    if found is None and head.startswith(b"<"):
        # The root is not at the beginning, or the XML is not well-formed, which raises here.
        from lutbench.formats import safe_xml

        root = safe_xml.name(safe_xml.parse(data, where))
        found = recognised(f"<{root}>".encode(), suffix)
        what = f"it is XML of another kind, <{root[:40]}>"
    if found is None:
        accepted = ", ".join(each.says for each in formats())
        raise FormatError(f"is not a LUT file that is read: {what}", where=where, accepted=accepted)
    if wanted is not None and not found.ids:
        raise FormatError("has no corrections with ids", where=where, accepted="a CDL file")
    return found.parse(data, where, wanted)


def _with_fragment(path: str | Path) -> tuple[str | Path, str | None]:
    """The path, and the id after ``#`` if no file has the whole name."""
    base, separator, fragment = str(path).rpartition("#")
    if not separator or not base or os.path.exists(path):
        return path, None
    return base, fragment


def _kind(head: bytes) -> str:
    """What the file is instead, in words."""
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
    """A file, and its name in reports: its own, or relative to the folder that was given."""

    path: str
    name: str


def lut_files(given: Sequence[str], *, luts_only: bool = False) -> tuple[list[NamedFile], bool]:
    """The files that are given or in given folders, and whether there may be several.

    In a folder only files with the suffix of a known format count; with `luts_only`, of a
    format that can hold a LUT.

    Raises LutbenchError for a folder without a LUT.
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
