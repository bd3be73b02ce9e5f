"""Read a ``.cube`` file whose text has faults that can be corrected; see `cube_faults.py`."""

from __future__ import annotations

from dataclasses import replace

from lutbench.errors import FormatError
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_faults import cube_fault
from lutbench.formats.registry import LutFile
from lutbench.tables.lut import Lut

MOST_CURES = 3
"""Faults that are corrected in one file, one after another."""

CORRECTED = "; corrected: "
"""In the note on a corrected fault: between what was wrong and what was done."""


def parse_cured(data: bytes, where: str = "") -> LutFile[Lut]:
    """As `parse_cube`, but faults of the text are corrected if they can be, and noted.

    Raises FormatError when a fault cannot be corrected.
    """
    notes: tuple[str, ...] = ()
    while True:
        try:
            read = parse_cube(data, where)
        except FormatError:
            fault = cube_fault(data)
            if fault is None or fault.cured is None or len(notes) >= MOST_CURES:
                raise
            data, notes = fault.cured, (*notes, f"{fault.message}{CORRECTED}{fault.advice}")
        else:
            return replace(read, notes=(*notes, *read.notes))
