"""Tables of numbers in CSV files: named columns, a name for each row."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lutbench import files
from lutbench.errors import FormatError

MOST_BYTES = 1 << 20
"""Bytes of a CSV file of readings: some thousand rows take far less."""

Columns = tuple[str, ...]


def read_columns(
    path: str | Path, *choices: Columns, accepted: str
) -> tuple[tuple[str, ...], Columns, NDArray[np.float64]]:
    """Names, columns and numbers of a CSV file whose heading holds one of `choices`.

    Headings are read in any letter case; lines that begin with ``#`` and empty lines
    are ignored. Rows without a name are numbered.

    Parameters
    ----------
    choices
        Sets of column names; the first set that is there in full is read.
    accepted
        What an error says would be accepted.

    Raises
    ------
    FormatError
        With the row, when a value is missing, not a number, or not finite.
    """
    reader = _reader(path)
    heads = [head or "" for head in reader.fieldnames or ()]
    found = next((where for each in choices if (where := _found(each, heads))), None)
    if found is None:
        wanted = " or ".join(", ".join(each) for each in choices)
        raise FormatError(f"has no columns {wanted}", where=path, accepted=accepted)
    naming = (_found(("name",), heads) or {}).get("name", "")
    names, rows = [], []
    for number, row in enumerate(reader, 1):
        name = str(row.get(naming, "") or f"patch {number}").strip()
        try:
            values = [float(row[head]) for head in found.values()]
        except (TypeError, ValueError) as error:
            raise FormatError(
                f"row {number} ({name}) does not hold {len(found)} numbers",
                where=path,
                accepted=accepted,
            ) from error
        if not np.isfinite(values).all():
            raise FormatError(f"row {number} ({name}) holds NaN or infinity", where=path)
        names.append(name)
        rows.append(values)
    if not rows:
        raise FormatError("holds no patches", where=path, accepted=accepted)
    return tuple(names), tuple(found), np.array(rows)


def _found(wanted: Columns, heads: list[str]) -> dict[str, str]:
    """The heading of each wanted column, in any letter case; empty if one is missing.

    Y and y are two columns if both are present.
    """
    found: dict[str, str] = {}
    for column in wanted:
        exact = [head for head in heads if head.strip() == column]
        folded = [head for head in heads if head.strip().casefold() == column.casefold()]
        free = [head for head in exact or folded if head not in found.values()]
        if not free:
            return {}
        found[column] = free[0]
    return found


def _reader(path: str | Path) -> csv.DictReader[str]:
    data = files.read_bytes(path, limit=MOST_BYTES)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError("is not UTF-8 text", where=path) from error
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return csv.DictReader(io.StringIO("\n".join(lines)), skipinitialspace=True)
