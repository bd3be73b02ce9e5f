"""Reading a ``.cube`` file whose text has faults with a cure: see `cube_faults.py`."""

from __future__ import annotations

from dataclasses import replace

from lutbench.errors import FormatError
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_faults import cube_fault
from lutbench.formats.registry import LutFile
from lutbench.tables.lut import Lut

MOST_CURES = 3
"""Faults of the text that one file may have after one another."""


def parse_cured(data: bytes, where: str = "") -> LutFile[Lut]:
    """As `parse_cube`; a fault of the text that has a cure is cured first, and noted.

    Raises
    ------
    FormatError
        Where there is no cure.
    """
    notes: tuple[str, ...] = ()
    while True:
        try:
            read = parse_cube(data, where)
        except FormatError:
            fault = cube_fault(data)
            if fault is None or fault.cured is None or len(notes) >= MOST_CURES:
                raise
            data, notes = fault.cured, (*notes, f"{fault.message}; cured: {fault.advice}")
        else:
            return replace(read, notes=(*notes, *read.notes))
