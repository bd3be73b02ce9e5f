"""The digest of a table that a file carries in its comments: whether it is still the one written.

A LUT that is written says in a comment what its table was, rounded as it was written:
size, domain and rows as text. Who reads it can round and count again. Another title,
another layout of the text or more digits change nothing.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lutbench.formats.decimals import format_rows, parse_rows
from lutbench.formats.layout import layout
from lutbench.tables.lut import Lut, Lut1D, ShaperLut3D

MARK = "table sha256: "
_LINE = re.compile(r"table sha256: ([0-9a-f]{64}) \((?:(\d{1,2}) decimals|exact)\)")
_RECIPE = re.compile(r"recipe sha256: ([0-9a-f]{64})")


@dataclass(frozen=True)
class Written:
    """What a file says of its table, and whether it is so."""

    digest: str
    decimals: int | None
    """Those of the rows when they were written; None for exact numbers."""
    same: bool
    holds: int
    """Decimals of the table as it is; 16 for more than 15."""
    recipe: str = ""
    """The digest of the recipe, where the file names one."""

    @property
    def words(self) -> str:
        """A sentence."""
        if self.same:
            return "the table is the one that was written"
        if self.decimals is not None and self.holds < self.decimals:
            return (
                f"the table is not the one that was written: it has {self.holds} decimals where "
                f"{self.decimals} were written, so it was rounded, or it is another"
            )
        return "the table is not the one that was written: edited, or made anew by something else"

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "table_sha256": self.digest,
            "decimals": self.decimals,
            "as_written": self.same,
            "recipe_sha256": self.recipe or None,
        }


def unsigned(comments: Iterable[str]) -> tuple[str, ...]:
    """Comments without the digest of a table: that of another table is none of this one's."""
    return tuple(line for line in comments if not line.startswith(MARK))


def signature(lines: Sequence[str], texts: Iterable[bytes], decimals: int | None) -> str:
    """The comment that says what a table is, from its lines of size and domain and its rows."""
    told = "exact" if decimals is None else f"{decimals} decimals"
    return f"{MARK}{_digest(lines, texts, decimals)} ({told})"


def _digest(lines: Sequence[str], texts: Iterable[bytes], decimals: int | None) -> str:
    found = hashlib.sha256("\n".join(lines).encode("utf-8"))
    for text in texts:
        if decimals is None:
            # Digits enough for the numbers are many ways to write them: the numbers count.
            rows = parse_rows(text)
            found.update(b"" if rows is None else np.asarray(rows, "<f8").tobytes())
        else:
            found.update(text)
    return found.hexdigest()


def written(lut: Lut, comments: Sequence[str]) -> Written | None:
    """What a file's comments say of its table, held against it; None where they say nothing."""
    said = next((found for each in comments if (found := _LINE.fullmatch(each.strip()))), None)
    if said is None:
        return None
    decimals = None if said[2] is None else int(said[2])
    lines, tables = layout(lut)
    if decimals is not None and decimals > 16:
        return None
    digest = _digest(lines, (format_rows(rows, decimals) for rows in tables), decimals)
    recipe = next((found[1] for each in comments if (found := _RECIPE.fullmatch(each))), "")
    return Written(said[1], decimals, digest == said[1], _decimals(lut), recipe)


def _decimals(lut: Lut) -> int:
    """The fewest decimals that hold the table; 16 where 15 do not."""
    table = lut.lut.table if isinstance(lut, ShaperLut3D) else lut.table
    values = np.asarray(table, dtype=np.float64)
    assert isinstance(lut, Lut1D) or values.ndim == 4
    for decimals in range(16):
        scaled = values * 10.0**decimals
        if (np.abs(scaled - np.rint(scaled)) <= 1e-9 * np.maximum(np.abs(scaled), 1)).all():
            return decimals
    return 16
