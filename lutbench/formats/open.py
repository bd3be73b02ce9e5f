"""Opening a LUT file of any format that is read, told by its content."""

from __future__ import annotations

import codecs
import re
from pathlib import Path

from lutbench import files
from lutbench.errors import FormatError
from lutbench.formats import cube
from lutbench.formats.lutfile import LutFile
from lutbench.model.transforms import Transform

ACCEPTED = "a .cube LUT"

_CUBE_KEYWORD = re.compile(rb"^\s*(LUT_[13]D_SIZE|TITLE|DOMAIN_M)", re.IGNORECASE | re.MULTILINE)
_HEAD = 64 * 1024


def open_lut(path: str | Path) -> Transform:
    """The LUT or transform in the file `path`; its content, not its suffix, tells the format.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or is in no format that is read.
    """
    return read_lut_file(path).lut


def read_lut_file(path: str | Path) -> LutFile[Transform]:
    """As `open_lut`, with the name of the format and notes of what was tolerated."""
    data = files.read_bytes(path, limit=cube.MAX_BYTES)
    where = str(path)
    head = data[:_HEAD]
    text = head.removeprefix(codecs.BOM_UTF8).replace(b"\r", b"\n").lstrip()
    suffix = Path(path).suffix.lower()
    if suffix == ".cube" or _CUBE_KEYWORD.search(text):
        return cube.parse_cube(data, where)
    raise FormatError(f"is no LUT file that is read: {_kind(head)}", where=where, accepted=ACCEPTED)


def _kind(head: bytes) -> str:
    """A word on what the file is instead."""
    if not head.strip():
        return "it is empty"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "it is UTF-16 text"
    if b"\0" in head:
        return "it is binary data"
    first = head.lstrip().splitlines()[0][:40].decode("latin-1")
    return f"it begins with {''.join(c if c.isprintable() else ' ' for c in first)!r}"
