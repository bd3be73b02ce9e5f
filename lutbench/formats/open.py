"""Opening a LUT file of any format that is read, told by its content."""

from __future__ import annotations

import codecs
import os
import re
from pathlib import Path

from lutbench import files
from lutbench.errors import FormatError
from lutbench.formats import cdl, clf_read, cube, safe_xml
from lutbench.formats.lutfile import LutFile
from lutbench.model.transforms import Transform

ACCEPTED = "a .cube LUT, a CLF file, a CDL file (.cdl, .cc, .ccc)"

_CUBE_KEYWORD = re.compile(rb"^\s*(LUT_[13]D_SIZE|TITLE|DOMAIN_M)", re.IGNORECASE | re.MULTILINE)
_HEAD = 64 * 1024


def open_lut(path: str | Path) -> Transform:
    """The LUT or transform in the file `path`; its content, not its suffix, tells the format.

    One correction of a CDL file that holds several is asked for as ``FILE#ID``.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or is in no format that is read.
    """
    return read_lut_file(path).lut


def read_lut_file(path: str | Path) -> LutFile[Transform]:
    """As `open_lut`, with the name of the format and notes of what was tolerated."""
    path, wanted = _with_fragment(path)
    return parse_lut(files.read_bytes(path, limit=cube.MAX_BYTES), str(path), wanted)


def parse_lut(data: bytes, where: str, wanted: str | None = None) -> LutFile[Transform]:
    """What the bytes of a file hold; `where` names it, `wanted` is the id of a correction."""
    head = data[:_HEAD].removeprefix(codecs.BOM_UTF8).lstrip()
    if head.startswith(b"<"):
        return _from_xml(data, where, wanted)
    if wanted is not None:
        raise FormatError("has no corrections with ids", where=where, accepted="a CDL file")
    if Path(where).suffix.lower() == ".cube" or _CUBE_KEYWORD.search(head.replace(b"\r", b"\n")):
        return cube.parse_cube(data, where)
    raise FormatError(f"is no LUT file that is read: {_kind(head)}", where=where, accepted=ACCEPTED)


def _with_fragment(path: str | Path) -> tuple[str | Path, str | None]:
    """The path, and the id after ``#`` where no file has the whole name."""
    base, separator, fragment = str(path).rpartition("#")
    if not separator or not base or os.path.exists(path):  # which takes any name, long or odd
        return path, None
    return base, fragment


def _from_xml(data: bytes, where: str, wanted: str | None) -> LutFile[Transform]:
    if len(data) > safe_xml.MAX_BYTES:
        raise FormatError(
            f"is too large for XML ({len(data)} bytes)",
            where=where,
            accepted=f"up to {safe_xml.MAX_BYTES} bytes",
        )
    root = safe_xml.parse(data, where)
    if safe_xml.name(root) in cdl.ROOTS:
        return cdl.cdl_file(root, where, wanted)
    if wanted is not None:
        raise FormatError("has no corrections with ids", where=where, accepted="a CDL file")
    if safe_xml.name(root) == clf_read.ROOT:
        return clf_read.clf_file(root, where)
    raise FormatError(
        f"is XML of another kind, <{safe_xml.name(root)[:40]}>", where=where, accepted=ACCEPTED
    )


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
