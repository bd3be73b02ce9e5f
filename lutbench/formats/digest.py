"""The digest of a table that a file carries in its comments: whether it is still the one written.

A LUT that is written says in a comment what its table was, rounded as it was written:
size, domain and rows as text. Who reads it can round and count again. Another title,
another layout of the text or more digits change nothing. A CLF file, whose numbers are
exact, says what its steps were: tables, and the parameters of what is no table.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError
from lutbench.files import json_text
from lutbench.formats.decimals import format_rows, parse_rows
from lutbench.model.transforms import Transform, steps_of
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D

ROWS_AT_ONCE = 1 << 16
"""Rows of a block, or a few more."""

_DOMAIN_KEYWORDS = ("DOMAIN_MIN", "DOMAIN_MAX")

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
    rounding = "exact" if decimals is None else f"{decimals} decimals"
    return f"{MARK}{_digest(lines, texts, decimals)} ({rounding})"


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


def exact_signature(steps: Iterable[Transform]) -> str:
    """The comment that says what steps are that come back with all their digits."""
    return f"{MARK}{_digest_of_steps(steps)} (exact)"


def _digest_of_steps(steps: Iterable[Transform]) -> str:
    """Of one LUT that of its table; of several steps that of all of them, one after the other."""
    parts = [_digest_of_step(step) for step in steps]
    if len(parts) == 1:
        return parts[0]
    return hashlib.sha256("\n".join(parts).encode("ascii")).hexdigest()


def _digest_of_step(step: Transform) -> str:
    if isinstance(step, Lut):
        lines, blocks = layout(step)
        return _digest(lines, (format_rows(rows, None) for rows in blocks), None)
    found = hashlib.sha256(json_text(step.to_data()).encode("utf-8"))
    if (table := getattr(step, "table", None)) is not None:
        found.update(np.asarray(table, "<f8").tobytes())
    return found.hexdigest()


def written(lut: Transform, comments: Sequence[str]) -> Written | None:
    """What a file's comments say of its table, held against it; None where they say nothing."""
    said = next((found for each in comments if (found := _LINE.fullmatch(each.strip()))), None)
    if said is None:
        return None
    decimals = None if said[2] is None else int(said[2])
    if decimals is not None and (decimals > 16 or not isinstance(lut, Lut)):
        return None
    if decimals is None:
        digest = _digest_of_steps(steps_of(lut))
    else:
        lines, blocks = layout(lut)
        digest = _digest(lines, (format_rows(rows, decimals) for rows in blocks), decimals)
    recipe = next((found[1] for each in comments if (found := _RECIPE.fullmatch(each))), "")
    holds = _decimals(lut) if isinstance(lut, Lut) else 16
    return Written(said[1], decimals, digest == said[1], holds, recipe)


def _decimals(lut: Lut) -> int:
    """The fewest decimals that hold the table; 16 where 15 do not."""
    table = lut.lut.table if isinstance(lut, ShaperLut3D) else lut.table
    decimals = 0
    for part in table if table.ndim == 4 else [table]:  # plane by plane, to save memory
        values = np.asarray(part, dtype=np.float64)
        while decimals < 16 and not _hold(values, decimals):
            decimals += 1
    return decimals


def _hold(values: NDArray[np.float64], decimals: int) -> bool:
    scaled = values * 10.0**decimals
    off = np.abs(scaled - np.rint(scaled))
    return bool((off <= 1e-9 * np.maximum(np.abs(scaled), 1)).all())


# --- the text that is counted, which is that of a .cube file -----------------------------


def layout(lut: Transform) -> tuple[list[str], Iterator[NDArray[Any]]]:
    """The lines of size and domain of a ``.cube`` file, and its rows, block after block.

    Sizes come first: some readers look at a domain only after the size.
    """
    if isinstance(lut, ShaperLut3D):
        lines = [f"LUT_1D_SIZE {lut.shaper.size}", f"LUT_3D_SIZE {lut.lut.size}"]
        lines += [_range_line("LUT_1D_INPUT_RANGE", lut.shaper.domain)]
        lines += [_range_line("LUT_3D_INPUT_RANGE", lut.lut.domain)]
        return lines, chain([lut.shaper.table], _red_fastest(lut.lut.table))
    if isinstance(lut, Lut1D):
        return [f"LUT_1D_SIZE {lut.size}", *_domain_lines(lut.domain)], iter([lut.table])
    if isinstance(lut, Lut3D):
        return [f"LUT_3D_SIZE {lut.size}", *_domain_lines(lut.domain)], _red_fastest(lut.table)
    raise FormatError(f"{lut!r} is not a LUT", accepted="a 1D, 3D or shaper-plus-3D LUT")


def _red_fastest(table: NDArray[Any]) -> Iterator[NDArray[Any]]:
    """Planes of blue, several at a time where they are small; a whole copy may be large."""
    size = len(table)
    planes = max(1, ROWS_AT_ONCE // size**2)
    for start in range(0, size, planes):
        yield table[:, :, start : start + planes].transpose(2, 1, 0, 3).reshape(-1, 3)


def _domain_lines(domain: NDArray[np.float64]) -> list[str]:
    if np.array_equal(domain, UNIT_DOMAIN):
        return []
    return [
        f"{keyword} {' '.join(map(_plain_number, row))}"
        for keyword, row in zip(_DOMAIN_KEYWORDS, domain.tolist(), strict=True)
    ]


def _range_line(keyword: str, domain: NDArray[np.float64]) -> str:
    if not (domain == domain[:, :1]).all():
        raise FormatError(
            "a shaper with a 3D LUT has one input range for all channels in a .cube file",
            accepted="domains that are alike in all channels",
        )
    return f"{keyword} {_plain_number(domain[0, 0])} {_plain_number(domain[1, 0])}"


def _plain_number(value: float) -> str:
    """The shortest decimal that reads back as `value`, without exponent, with a point."""
    return np.format_float_positional(value, trim="0")
