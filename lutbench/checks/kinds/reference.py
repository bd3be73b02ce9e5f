"""The kind `reference`: a LUT against an exact pipeline, colour-science, or measured values.

``exact`` names a pipeline, a recipe's transform (``day.toml#monitor; exact``) or another LUT;
``colour_science`` a pipeline that colour-science alone computes; ``values`` a CSV file with the
columns r, g, b, r_out, g_out, b_out.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from lutbench import files
from lutbench.checks.base import Check, CheckResult, Context, one_of, read_end
from lutbench.checks.independent import independent_conversion
from lutbench.checks.judging import colours, judge, judge_sides, view_for
from lutbench.checks.limits import checked_limits, known_limits
from lutbench.errors import FormatError
from lutbench.measure.samples import SampledColours
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.signal import Range, RangeFromSignal, signal_from_code
from lutbench.model.transforms import Array
from lutbench.recipes.subjects import refuse_same
from lutbench.recipes.table import Table

DEFAULT_LIMITS = {"exact": 0.1, "colour_science": 0.1, "values": 0.5}
"""In 10-bit codes. Rounding to six decimals causes 0.001; measured values are whole codes."""

AGAINST = ("exact", "colour_science", "values")
COLUMNS = ("r", "g", "b", "r_out", "g_out", "b_out")
MAX_BYTES = 64 * 1024 * 1024
"""Bytes of the largest CSV file: about what `MAX_ROWS` rows of six numbers need."""

MAX_ROWS = 1_000_000
"""Most rows of a CSV file: the nodes of a 3D LUT of size 100."""


@dataclass(frozen=True, kw_only=True)
class Reference(Check):
    """See the module."""

    kind: ClassVar[str] = "reference"
    lut: str
    against: str
    reference: str
    limits: dict[str, Any]
    colours: tuple[str, ...] | None
    unit: str
    bits: int
    range: Range
    source: Encoding | None
    target: Encoding | None

    @classmethod
    def read(cls, table: Table, common: dict[str, Any], catalogue: Catalogue) -> Reference:
        against, reference = one_of(table, AGAINST)
        limits = table.table("limits")
        values = limits.values if limits else {"code_10bit": DEFAULT_LIMITS[against]}
        known_limits(values, table.at("limits"))
        return cls(
            **common,
            lut=table.text("lut"),
            against=against,
            reference=reference,
            limits=values,
            colours=table.texts("colours"),
            unit=table.choice("unit", ("signal", "percent", "code"), "signal"),
            bits=table.choice("bits", (8, 10, 12, 16), 10),
            range=table.choice("range", ("full", "legal"), "full"),
            source=read_end(table.table("source"), catalogue),
            target=read_end(table.table("target"), catalogue),
        )

    def run(self, context: Context) -> CheckResult:
        limits = checked_limits(self.limits, f"{self.where}, limits")
        side = context.subject(self.lut)
        source, target = self.source or side.source, self.target or side.target
        shown = context.shown(self.lut)
        if self.against == "values":
            inputs, expected = self._values(context)
            found = side.transform.apply(inputs)
            samples = SampledColours(self.reference, inputs)
            return judge(
                [samples],
                [found],
                [expected],
                view_for(target),
                limits,
                (*context.itself, "-k", self.name),
            )
        if self.against == "exact":
            other = context.subject(self.reference)
            refuse_same(side, other, f"{self.where}, exact")
            exact = other.transform
            source, target = source or other.source, target or other.target
        else:
            other_ends = context.subject(self.reference)
            exact = independent_conversion(self.reference, context.catalogue)
            source, target = source or other_ends.source, target or other_ends.target
        tests = colours(self.colours, side.transform, source, self.where)
        show = ("lutbench", "compare", shown, context.shown(self.reference))
        return judge_sides(tests, side.transform, exact, view_for(target), limits, show)

    def _values(self, context: Context) -> tuple[Array, Array]:
        path = context.path(self.reference)
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
