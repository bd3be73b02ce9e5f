"""Write the ``.cube`` text format, which `cube.py` describes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench import files, long_work
from lutbench.errors import FormatError
from lutbench.formats.comments import layout, signature, unsigned
from lutbench.formats.decimals import LARGEST_NUMBER, MAX_LINE_BYTES, format_rows
from lutbench.formats.registry import MAX_BYTES
from lutbench.given import one_line
from lutbench.tables.lut import Lut

if TYPE_CHECKING:
    from lutbench.formats.registry import Writing


def write_cube(
    lut: Lut, path: str | Path, *, decimals: int | None = 6, force: bool = False
) -> None:
    """Write `lut` to the ``.cube`` file `path`; see `format_cube`.

    Raises
    ------
    LutbenchError
        When the file exists and `force` is not set, or cannot be written.
    """
    files.write_bytes(path, format_cube(lut, decimals, signed=True), force=force)


def write_as_cube(lut: Lut, how: Writing) -> tuple[bytes, tuple[str, ...]]:
    """The bytes of a ``.cube`` file with `lut`, and the title and comments of `how`."""
    named = replace(lut, title=how.title, comments=how.comments)
    return format_cube(named, how.decimals, signed=True), ()


def format_cube(lut: Lut, decimals: int | None = 6, *, signed: bool = False) -> bytes:
    """The bytes of a ``.cube`` file with `lut`.

    The rows have `decimals` digits after the point (0 to 16). With None they have as many as
    read back exactly (nine significant ones for float32), and small numbers may be in
    exponent notation. With `signed` a comment holds the checksum of the table.

    Raises
    ------
    FormatError
        When a number, a line or the file would be too large to be read again.

    >>> from lutbench.tables.lut import Lut3D
    >>> print(format_cube(Lut3D.identity(2, title="None"), 1).decode().splitlines()[:4])
    ['TITLE "None"', 'LUT_3D_SIZE 2', '0.0 0.0 0.0', '1.0 0.0 0.0']
    """
    if decimals is not None and not 0 <= decimals <= 16:
        raise FormatError(f"{decimals} decimals cannot be written", accepted="0 to 16, or none")
    head = [f'TITLE "{one_line(lut.title).replace(chr(34), chr(39))}"'] if lut.title else []
    shape, blocks = layout(lut)
    rows = _rows(blocks, decimals, lut.size)
    comments = unsigned(lut.comments)
    if signed:
        comments = (*comments, signature(shape, rows, decimals))
    head += [f"# {line}".rstrip() for each in comments for line in each.splitlines() or [""]]
    head += shape
    # A lone surrogate, from a file name that is not text, cannot be encoded in UTF-8.
    lines = [one_line(line).encode("utf-8", "replace") for line in head]
    if any(len(line) > MAX_LINE_BYTES for line in lines):
        raise FormatError(
            "a title or comment is too long", accepted=f"up to {MAX_LINE_BYTES} bytes"
        )
    return b"".join([*(line + b"\n" for line in lines), *rows])


def _rows(blocks: Iterable[NDArray[Any]], decimals: int | None, size: int) -> list[bytes]:
    """The text of all rows, block by block; refused if it could not be read again."""
    rows, length = [], 0
    for block in blocks:
        if np.abs(block).max() > LARGEST_NUMBER:
            raise FormatError(
                "a number of the table is too large", accepted=f"up to {LARGEST_NUMBER}"
            )
        rows.append(format_rows(block, decimals))
        length += len(rows[-1])
        if length > MAX_BYTES:
            raise FormatError(
                f"a size of {size} with so many digits is too large for a file",
                accepted=f"up to {MAX_BYTES} bytes: fewer nodes or digits",
            )
        long_work.report("writing", None)
    return rows
