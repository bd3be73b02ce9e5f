"""The kind `reference`: a LUT against an exact pipeline, colour-science, or measured values.

``exact`` names a pipeline, a recipe's transform (``day.toml#monitor; exact``) or another LUT;
``colour_science`` a pipeline that colour-science alone computes; ``values`` a CSV file with the
columns r, g, b, r_out, g_out, b_out.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar, Literal

import numpy as np

from lutbench import files
from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.independent import independent_conversion
from lutbench.checks.judging import colours, judge, judge_sides, view_for
from lutbench.checks.limits import NAMES, checked_limits
from lutbench.checks.settings import End, Limits
from lutbench.errors import FormatError
from lutbench.measure.samples import SampledColours
from lutbench.model.signal import Range, RangeFromSignal, signal_from_code
from lutbench.model.transforms import Array
from lutbench.recipes.keys import Bits, Texts
from lutbench.recipes.subjects import refuse_same

DEFAULT_LIMITS = {"exact": 0.1, "colour_science": 0.1, "values": 0.5}
"""In 10-bit codes. Rounding to six decimals causes 0.001; measured values are whole codes."""

COLUMNS = ("r", "g", "b", "r_out", "g_out", "b_out")
MAX_BYTES = 64 * 1024 * 1024
"""Bytes of the largest CSV file: about what `MAX_ROWS` rows of six numbers need."""

MAX_ROWS = 1_000_000
"""Most rows of a CSV file: the nodes of a 3D LUT of size 100."""


@dataclass(frozen=True, kw_only=True)
class ReferenceCheck(Check):
    """A LUT against a pipeline (`exact`), colour-science (`colour_science`), or `values`."""

    kind: ClassVar[str] = "reference"
    lut: str
    exact: str | None = None
    """A pipeline in words, a LUT file, or "RECIPE.toml#NAME; exact"."""
    colour_science: str | None = None
    """A pipeline in words, computed by colour-science."""
    values: str | None = None
    """A CSV file with the columns r, g, b, r_out, g_out, b_out."""
    limits: Limits | None = None
    colours: Texts | None = None
    """Sets of test colours: chart, neutral, random."""
    unit: Literal["signal", "percent", "code"] = "signal"
    """The unit of the values."""
    bits: Bits = 10
    range: Range = "full"
    source: End = None
    target: End = None

    def __post_init__(self) -> None:
        if self.only_one(*DEFAULT_LIMITS) == "values":
            self.refuse_unused("exact or colour_science", "colours")
        else:
            self.refuse_unused("values = ...", "unit", "bits", "range")
        self.respell("limits", "limit", NAMES)

    def run(self, context: Context) -> CheckResult:
        against = self.only_one(*DEFAULT_LIMITS)
        usual = {"code_10bit": DEFAULT_LIMITS[against]}
        limits = checked_limits(usual if self.limits is None else self.limits, self.at("limits"))
        side = context.subject(self.lut)
        source, target = self.source or side.source, self.target or side.target
        if self.values is not None:
            inputs, expected = self._values(context.path(self.values))
            found = side.transform.apply(inputs)
            samples = SampledColours(self.values, inputs)
            show = (*context.itself, "-k", self.name)
            return judge([samples], [found], [expected], view_for(target), limits, show)
        reference = getattr(self, against)
        other = context.subject(reference)
        if against == "exact":
            refuse_same(side, other, self.at("exact"))
            exact = other.transform
        else:
            exact = independent_conversion(reference, context.catalogue)
        source, target = source or other.source, target or other.target
        tests = colours(self.colours, side.transform, source, self.where)
        show = ("lutbench", "compare", context.shown(self.lut), context.shown(reference))
        return judge_sides(tests, side.transform, exact, view_for(target), limits, show)

    def _values(self, path: Path) -> tuple[Array, Array]:
        values = read_values(files.read_bytes(path, limit=MAX_BYTES), str(path))
        if self.unit == "code":
            values = signal_from_code(values, self.bits, self.range)
            if self.range == "legal":
                values = RangeFromSignal("legal", self.bits).apply(values)
        elif self.unit == "percent":
            values = values / 100
            if self.range == "legal":
                values = RangeFromSignal("legal", self.bits).apply(values)
        return values[:, 0], values[:, 1]


def read_values(data: bytes, where: str) -> Array:
    """The rows of a CSV file of inputs and outputs, shape (n, 2, 3), all finite.

    Lines that begin with ``#`` are comments; the first other line names the columns.

    Raises FormatError when a column is missing, a value is not a finite number, or there is no row;
    the message has the line.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FormatError("is not UTF-8 text", where=where, accepted="a CSV file") from None
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise FormatError("holds no values", where=where, accepted="rows of " + ", ".join(COLUMNS))
    try:
        rows = list(csv.reader(io.StringIO("\n".join(line for _, line in lines))))
    except csv.Error as error:
        raise FormatError(f"is not CSV: {error}", where=where, accepted="a CSV file") from None
    head = [cell.strip().casefold() for cell in rows[0]]
    missing = [name for name in COLUMNS if name not in head]
    if missing:
        raise FormatError(
            f"has no column {missing[0]!r}",
            where=f"{where}:{lines[0][0]}",
            accepted=", ".join(COLUMNS),
        )
    if not 2 <= len(rows) <= MAX_ROWS + 1:
        raise FormatError(
            f"holds {len(rows) - 1} rows", where=where, accepted=f"1 to {MAX_ROWS} rows"
        )
    places = [head.index(name) for name in COLUMNS]
    values = np.array(
        [
            [_finite(row, place, f"{where}:{number}") for place in places]
            for (number, _), row in zip(lines[1:], rows[1:], strict=True)
        ]
    )
    return values.reshape(-1, 2, 3)


def _finite(row: list[str], place: int, where: str) -> float:
    try:
        value = float(row[place])
    except (ValueError, IndexError):
        value = np.nan
    if not np.isfinite(value):
        text = row[place] if place < len(row) else ""
        raise FormatError(f"{text[:40]!r} is not a value", where=where, accepted="a finite number")
    return value
