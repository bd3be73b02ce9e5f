"""The Common LUT Format (Academy S-2014-006, SMPTE ST 2136-1): read and write.

The extra ``clf`` brings what it needs: colour-clf-io and lxml.
"""

from __future__ import annotations

from pathlib import Path

from numpy.typing import ArrayLike

from lutbench import files
from lutbench.formats import safe_xml as xml
from lutbench.formats.clf_read import clf_file
from lutbench.formats.clf_write import format_clf
from lutbench.formats.lutfile import LutFile
from lutbench.model.transforms import Transform
from lutbench.tables.lut import UNIT_DOMAIN, Interpolation

__all__ = ["format_clf", "parse_clf", "read_clf", "write_clf"]


def read_clf(path: str | Path) -> Transform:
    """The transform in the CLF file `path`; `parse_clf` also tells what was tolerated.

    Raises
    ------
    LutbenchError
        When the file cannot be read.
    FormatError
        When it is no CLF file, with the line.
    """
    return parse_clf(files.read_bytes(path, limit=xml.MAX_BYTES), str(path)).lut


def parse_clf(data: bytes, where: str = "") -> LutFile[Transform]:
    """The transform that the bytes of a CLF file hold; `where` names it in errors."""
    return clf_file(xml.parse(data, where), where)


def write_clf(
    transform: Transform,
    path: str | Path,
    *,
    title: str = "",
    comments: tuple[str, ...] = (),
    size: int = 33,
    domain: ArrayLike = UNIT_DOMAIN,
    interpolation: Interpolation = "tetrahedral",
    force: bool = False,
) -> tuple[str, ...]:
    """Write `transform` to the CLF file `path` and return notes of what is not exact in it.

    See `format_clf` for what the parameters do.

    Raises
    ------
    LutbenchError
        When the file exists and `force` is not set, or cannot be written.
    """
    data, notes = format_clf(
        transform,
        title=title,
        comments=comments,
        size=size,
        domain=domain,
        interpolation=interpolation,
    )
    files.write_bytes(path, data, force=force)
    return notes
