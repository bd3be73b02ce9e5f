"""What comments of a LUT file say: its source and target, and the checksum of its table.

A LUT file that is written names both ends, and has the SHA-256 of its table: of size, domain and
rows as text, rounded as they were written. A reader rounds the table and computes it again, which
shows whether the table was changed since. Another title, another layout of the text or more digits
do not change it. In a CLF file, whose numbers are exact, it is that of the steps: of tables, and of
the parameters of others.
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
from lutbench.model.signal import Range
from lutbench.model.transforms import Transform, steps_of
from lutbench.results import PlainData
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D

ROWS_AT_ONCE = 1 << 16
"""Rows in a block of a table, about, to limit memory."""

_DOMAIN_KEYWORDS = ("DOMAIN_MIN", "DOMAIN_MAX")

MARK = "table sha256: "
_LINE = re.compile(r"table sha256: ([0-9a-f]{64}) \((?:(\d{1,2}) decimals|exact)\)")
_RECIPE = re.compile(r"recipe sha256: ([0-9a-f]{64})")


@dataclass(frozen=True)
class Written(PlainData):
    """The checksum that a file states for its table, and whether it is right."""

    KEYS = ("table_sha256=digest", "decimals", "as_written=same", "recipe_sha256=recipe?")

    digest: str
    decimals: int | None
    """Decimals of the rows when they were written; None for exact numbers."""
    same: bool
    holds: int
    """Decimals that the table has now; 16 for more than 15."""
    recipe: str = ""
    """The checksum of the recipe; empty if the file has none."""

    @property
    def words(self) -> str:
        """The result as a sentence."""
        if self.same:
            return "the table is unchanged since it was written"
        if self.decimals is not None and self.holds < self.decimals:
            return (
                f"the table is not the one that was written: it has {self.holds} decimals instead "
                f"of {self.decimals}, so it was rounded or replaced"
            )
        return "the table is not the one that was written: it was edited or replaced"


def unsigned(comments: Iterable[str]) -> tuple[str, ...]:
    """Comments without the checksum of a table, which is not that of another table."""
    return tuple(line for line in comments if not line.startswith(MARK))


def signature(lines: Sequence[str], texts: Iterable[bytes], decimals: int | None) -> str:
    """The comment with the checksum of a table, from its lines of size and domain and its rows."""
    rounding = "exact" if decimals is None else f"{decimals} decimals"
    return f"{MARK}{_digest(lines, texts, decimals)} ({rounding})"


def _digest(lines: Sequence[str], texts: Iterable[bytes], decimals: int | None) -> str:
    found = hashlib.sha256("\n".join(lines).encode("utf-8"))
    for text in texts:
        if decimals is None:
            # Exact numbers can be written in several ways, so the numbers themselves count.
            rows = parse_rows(text)
            found.update(b"" if rows is None else np.asarray(rows, "<f8").tobytes())
        else:
            found.update(text)
    return found.hexdigest()


def exact_signature(steps: Iterable[Transform]) -> str:
    """The comment with the checksum of steps that are written exactly."""
    return f"{MARK}{_digest_of_steps(steps)} (exact)"


def _digest_of_steps(steps: Iterable[Transform]) -> str:
    """The checksum of one LUT's table, or of several steps one after the other."""
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
    """The checksum in a file's comments, compared with its table; None if there is none."""
    stated = next((found for each in comments if (found := _LINE.fullmatch(each.strip()))), None)
    if stated is None:
        return None
    decimals = None if stated[2] is None else int(stated[2])
    if decimals is not None and (decimals > 16 or not isinstance(lut, Lut)):
        return None
    if decimals is None:
        digest = _digest_of_steps(steps_of(lut))
    else:
        lines, blocks = layout(lut)
        digest = _digest(lines, (format_rows(rows, decimals) for rows in blocks), decimals)
    recipe = next((found[1] for each in comments if (found := _RECIPE.fullmatch(each))), "")
    holds = _decimals(lut) if isinstance(lut, Lut) else 16
    return Written(stated[1], decimals, digest == stated[1], holds, recipe)


def _decimals(lut: Lut) -> int:
    """The fewest decimals in which the table is exact; 16 if 15 are not enough."""
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


# --- the text of a .cube file, from which the checksum is computed -------------------------


def layout(lut: Transform) -> tuple[list[str], Iterator[NDArray[Any]]]:
    """The lines of size and domain of a ``.cube`` file, and its rows in blocks.

    Sizes come first, since some readers expect a domain only after the size.
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
    """The rows in the order of a file, in blocks of whole blue planes, to limit memory."""
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
            accepted="domains that are the same for all channels",
        )
    return f"{keyword} {_plain_number(domain[0, 0])} {_plain_number(domain[1, 0])}"


def _plain_number(value: float) -> str:
    """The shortest decimal that reads back as `value`, without exponent, with a point."""
    return np.format_float_positional(value, trim="0")


_END = re.compile(
    r"^(?P<side>source|target): curve (?P<curve>.+?)"
    r"(?:, gamut (?P<gamut>.+?))?, (?P<range>full|legal) range\b"
)


@dataclass(frozen=True)
class EndInComments:
    """The source or the target of a conversion, as a comment names it."""

    curve: str
    gamut: str | None
    range: Range


def ends_in_comments(comments: Iterable[str]) -> dict[str, EndInComments]:
    """What comments name as ``source`` and as ``target``; one that is not named is missing.

    >>> ends_in_comments(["source: curve ACEScct, gamut ACES AP1, full range"])["source"].curve
    'ACEScct'
    """
    found = {}
    for line in comments:
        if match := _END.match(line.strip()):
            range_name: Any = match["range"]
            found[match["side"]] = EndInComments(match["curve"], match["gamut"], range_name)
    return found


def display_in_comments(comments: Iterable[str]) -> str | None:
    """The measured display that comments name; None where they name none.

    >>> display_in_comments(["measured display: panel.csv, calibrated to BT.1886"])
    'panel.csv, calibrated to BT.1886'
    """
    parts = (line.strip().partition("measured display: ") for line in comments)
    return next((name for before, found, name in parts if found and not before), None)


def coverage_in_comments(comments: Iterable[str]) -> str | None:
    """What pictures a LUT was learnt from cover, as comments say; None where they do not.

    >>> coverage_in_comments(["learnt from two pictures: they hold colours near 2 % of the nodes"])
    'colours near 2 % of the nodes'
    """
    parts = (line.strip().partition("learnt from two pictures: they hold ") for line in comments)
    return next((held for before, found, held in parts if found and not before), None)


def exposure_in_comments(comments: Iterable[str]) -> float | None:
    """The exposure in stops that comments name; None where they name none.

    >>> exposure_in_comments(["kind: combined", "exposure: -1.5 stops"])
    -1.5
    """
    for line in comments:
        if match := re.match(r"^exposure: ([-+]?\d+(?:\.\d+)?) stops$", line.strip()):
            return float(match[1])
    return None
