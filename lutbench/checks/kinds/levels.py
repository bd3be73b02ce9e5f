"""The kind `levels`: light comes out of a LUT at given levels, within a tolerance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from lutbench.checks.base import Check, CheckResult, Context, read_end
from lutbench.checks.judging import verdict
from lutbench.checks.limits import CheckFigure, checked_limit, farthest
from lutbench.errors import DefinitionError
from lutbench.given import number
from lutbench.inspection.ends import ends_in_comments
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import (
    CODES_10_BIT,
    Range,
    RangeFromSignal,
    SignalFromRange,
    code_from_signal,
)
from lutbench.recipes.subjects import NamedTransform
from lutbench.recipes.table import Table

UNITS = ("percent", "signal", "code")
MOST_STOPS = 20
"""Most stops above or below mid grey; the widest encoding records up to 16."""

MOST_LIGHT = MID_GREY * 2.0**MOST_STOPS
SCALES = {"percent": 100.0, "signal": 1.0}
DEFAULT_WITHIN = {"percent": 0.2, "signal": 0.002, "code": 2.0}
"""Two 10-bit codes in each unit: about the error of a LUT of 33 nodes between its nodes."""


@dataclass(frozen=True)
class Point:
    """Light (1.0 is a perfect white diffuser) and the level at which it must come out."""

    light: float
    name: str
    unit: str
    value: float
    within: Any
    bits: int
    range: Range


@dataclass(frozen=True, kw_only=True)
class LevelsCheck(Check):
    """See the module. Percent and signal are of the target's range (`target_range`)."""

    kind: ClassVar[str] = "levels"
    lut: str
    source: Encoding | None
    target_range: Range | None
    points: tuple[Point, ...]

    @classmethod
    def read(cls, table: Table, common: dict[str, Any], catalogue: Catalogue) -> LevelsCheck:
        return cls(
            **common,
            lut=table.text("lut"),
            source=read_end(table.table("source"), catalogue),
            target_range=table.choice("target_range", ("full", "legal"), None),
            points=tuple(_point(each) for each in table.tables("points")),
        )

    def run(self, context: Context) -> CheckResult:
        if not self.points:
            raise DefinitionError(
                "no points are given, so nothing is checked",
                where=self.where,
                accepted="points = [{ stops = 0, percent = 41, within = 0.5 }]",
            )
        side = context.subject(self.lut)
        source = self.source or side.source
        if source is None:
            raise DefinitionError(
                "the LUT's source encoding is not known",
                where=self.where,
                accepted="source = {...}",
            )
        target_range = self.target_range or _given_range(side)
        light = np.array([[point.light] * 3 for point in self.points])
        recorded = source.curve.encode(light)
        if source.range == "legal":
            recorded = RangeFromSignal("legal", source.bits).apply(recorded)
        out = np.asarray(side.transform.apply(recorded), dtype=np.float64)
        signal = SignalFromRange(target_range).apply(out)
        figures = []
        for point, full, own_signal in zip(self.points, out, signal, strict=True):
            reached = {
                "percent": 100 * own_signal,
                "signal": own_signal,
                "code": _codes(full, own_signal, point),
            }[point.unit]
            most = farthest(point.value, SCALES.get(point.unit, 2.0**point.bits - 1))
            within = checked_limit(point.within, f"{self.where}, within", most)
            off = np.abs(reached - point.value)
            worst = float(reached[int(off.argmax())]) if np.isfinite(off).all() else float("nan")
            unit = {"percent": "%", "signal": "signal", "code": f"{point.bits}-bit codes"}[
                point.unit
            ]
            label = f"{point.name} at {worst:.5g} {unit}, expected {point.value:g}: off by"
            figures.append(CheckFigure(point.unit, float(off.max()), within, label))
        figures.sort(key=lambda figure: figure.holds)
        return verdict(
            figures, "", context.shows("levels", side, "--curve", source.curve.name, "--lut")
        )


def _given_range(side: NamedTransform) -> Range:
    """The range of the output: from the recipe or pipeline, else from the file's comments."""
    if side.target is not None:
        return side.target.range
    end = ends_in_comments(getattr(side.transform, "comments", ())).get("target")
    return end.range if end is not None else "full"


def _codes(full: Any, signal: Any, point: Point) -> Any:
    """Codes at the point's bit depth, in its range."""
    if point.range == "legal":
        return code_from_signal(signal, point.bits, "legal")
    return full * (2**point.bits - 1)


def _default_within(unit: str, bits: int) -> float:
    scale = (2**bits - 1) / CODES_10_BIT if unit == "code" else 1.0
    return DEFAULT_WITHIN[unit] * scale


def _point(table: Table) -> Point:
    light, name = _light(table)
    given = [unit for unit in UNITS if unit in table]
    if len(given) != 1:
        raise DefinitionError(
            "a point needs exactly one level",
            where=table.where,
            accepted="percent, signal, code",
        )
    unit = given[0]
    within = table.take("within")
    bits = table.choice("bits", (8, 10, 12, 16), 10)
    point = Point(
        light,
        name,
        unit,
        number(table.take(unit), table.at(unit)),
        _default_within(unit, bits) if within is None else within,
        bits,
        table.choice("range", ("full", "legal"), "full"),
    )
    table.know("reflectance", "stops", *UNITS)
    table.done()
    return point


def _light(table: Table) -> tuple[float, str]:
    """The light of a point, from a reflectance or stops from mid grey, and its name."""
    if "reflectance" in table and "stops" in table:
        raise DefinitionError(
            "both reflectance and stops are given", where=table.where, accepted="one of them"
        )
    if "reflectance" in table:
        light = table.number("reflectance")
        if not 0 <= light <= MOST_LIGHT:
            raise DefinitionError(
                f"a reflectance of {light:g} is out of range",
                where=table.at("reflectance"),
                accepted=f"0 to {MOST_LIGHT:.0f}, where 1 is a perfect white",
            )
        return light, f"{100 * light:g} % reflectance"
    stops = table.number("stops", 0.0)
    if abs(stops) > MOST_STOPS:
        raise DefinitionError(
            f"{stops:g} stops are out of range",
            where=table.at("stops"),
            accepted=f"-{MOST_STOPS} to {MOST_STOPS}",
        )
    return MID_GREY * 2.0**stops, f"{stops:+g} stops" if stops else "mid grey"
