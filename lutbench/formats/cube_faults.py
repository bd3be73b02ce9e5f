"""What is wrong with a ``.cube`` file that cannot be read, and its correction if there is one.

A correction is a readable text with the same content; nothing in it is guessed.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.lut import SIZES_1D, SIZES_3D

MOST_BYTES = 16 * 1024 * 1024
"""Bytes: larger files are not searched for faults."""

_NUMBER = r"[-+]?\d*[.]?\d+(?:[eE][-+]?\d+)?"
_COMMA_ROW = re.compile(r"^\s*(?:[-+]?\d+,\d+[\s;]+){2}[-+]?\d+,\d+\s*;?\s*$")
_SEPARATED_ROW = re.compile(rf"^\s*{_NUMBER}\s*[,;]\s*{_NUMBER}\s*[,;]\s*{_NUMBER}\s*[,;]?\s*$")
_PLAIN_ROW = re.compile(rf"^\s*{_NUMBER}\s+{_NUMBER}\s+{_NUMBER}\s*$")
_ROW_START = re.compile(r"^\s*[-+.\d]")
_IDLE = re.compile(
    r"^\s*(?:#.*|TITLE.*|(?:LUT_[13]D_(?:SIZE|INPUT_RANGE)|DOMAIN_M(?:IN|AX))\b.*)?$", re.IGNORECASE
)
_SIZE = re.compile(r"^\s*LUT_([13])D_SIZE\s+(\d{1,6})(?:\s+\2)*\s*$", re.IGNORECASE)


@dataclass(frozen=True)
class CubeFault:
    """A fault of a file; `cured` is the text without it, None if it cannot be corrected."""

    code: str
    message: str
    advice: str
    cured: bytes | None = None


def cube_fault(data: bytes) -> CubeFault | None:
    """The fault that makes a ``.cube`` file unreadable; None if it is not recognised.

    >>> cube_fault(b"LUT_1D_SIZE 2\\n0,0 0,0 0,0\\n1,0 1,0 1,0\\n").code
    'decimal_commas'
    """
    if len(data) > MOST_BYTES:
        return None
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _utf16(data)
    lines = data.decode("latin-1").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    rows = [k for k, line in enumerate(lines) if _ROW_START.match(line)]
    if not rows:
        return None
    return _commas(lines, rows) or _separators(lines, rows) or _count(lines, rows)


def _utf16(data: bytes) -> CubeFault | None:
    try:
        text = data.decode("utf-16")
    except UnicodeDecodeError:
        return None
    return CubeFault("utf16", "the text is UTF-16", "write it as UTF-8", text.encode("utf-8"))


def _commas(lines: list[str], rows: list[int]) -> CubeFault | None:
    if not any(_COMMA_ROW.match(lines[k]) for k in rows):
        return None
    if not all(_COMMA_ROW.match(lines[k]) or _PLAIN_ROW.match(lines[k]) for k in rows):
        return None
    for k in rows:
        lines[k] = lines[k].replace(",", ".").replace(";", " ")
    message = f"line {rows[0] + 1}: the numbers have decimal commas"
    return CubeFault("decimal_commas", message, "decimal points", _text(lines))


def _separators(lines: list[str], rows: list[int]) -> CubeFault | None:
    if not all(_SEPARATED_ROW.match(lines[k]) for k in rows):
        return None
    for k in rows:
        lines[k] = re.sub("[,;]", " ", lines[k])
    message = f"line {rows[0] + 1}: there are commas or semicolons between the numbers"
    return CubeFault("separators", message, "spaces between them", _text(lines))


def _count(lines: list[str], rows: list[int]) -> CubeFault | None:
    """A size that does not match the number of rows."""
    if not all(_PLAIN_ROW.match(lines[k]) for k in rows):
        return None
    if any(not _ROW_START.match(line) and not _IDLE.match(line) for line in lines):
        return None
    sizes = [(k, found) for k, line in enumerate(lines) if (found := _SIZE.match(line))]
    edge = round(len(rows) ** (1 / 3))
    whole = edge**3 == len(rows) and SIZES_3D[0] <= edge <= SIZES_3D[1]
    if not sizes:
        return _without_size(lines, rows, edge) if whole else None
    if len(sizes) > 1:
        return None
    at, found = sizes[0]
    size = int(found[2])
    low, high = SIZES_1D if found[1] == "1" else SIZES_3D
    expected = size if found[1] == "1" else size**3
    if expected == len(rows) or not low <= size <= high:
        return None
    if whole:
        said = f"line {at + 1}: it says LUT_{found[1]}D_SIZE {size}"
        message = f"{said}, but {len(rows)} rows make a 3D LUT of size {edge}"
        lines[at] = f"LUT_3D_SIZE {edge}"
        return CubeFault("wrong_size", message, f"write LUT_3D_SIZE {edge}", _text(lines))
    named = f"LUT_{found[1]}D_SIZE {size}"
    if len(rows) < expected and len(rows) > size and found[1] == "3":
        return _missing_rows(lines, rows, size, named)
    return None


def _without_size(lines: list[str], rows: list[int], edge: int) -> CubeFault:
    lines.insert(rows[0], f"LUT_3D_SIZE {edge}")
    message = f"no size is given, but {len(rows)} rows make a 3D LUT of size {edge}"
    return CubeFault("no_size", message, f"write LUT_3D_SIZE {edge}", _text(lines))


def _missing_rows(lines: list[str], rows: list[int], size: int, named: str) -> CubeFault:
    missing = size**3 - len(rows)
    values = np.array([lines[k].split() for k in rows], dtype=np.float64)
    brightest = values.sum(axis=1).max()
    gap = next(_breaks(values, size), None)
    verb = "is" if missing == 1 else "are"
    count = f"{len(rows)} rows, too few for {named}: {missing} {verb} missing"
    refused = f"{size**3} rows: make the LUT again, or get the file again"
    if values[-1].sum() < brightest - 1e-6 and gap is None:
        return CubeFault("short_table", f"{count}, the end of the table is cut off", refused)
    where = "" if gap is None else f" before line {rows[gap] + 1}"
    return CubeFault("missing_rows", f"{count}{where}", refused)


def _breaks(values: NDArray[np.float64], size: int) -> Iterator[int]:
    """Rows at which red starts again before a whole line of nodes is complete."""
    red = values[:, 0]
    starts = np.flatnonzero(np.diff(red) < -0.2 * np.ptp(red)) + 1
    yield from (int(each) for each in starts if each % size)


def _text(lines: list[str]) -> bytes:
    return "\n".join(lines).encode("latin-1")
