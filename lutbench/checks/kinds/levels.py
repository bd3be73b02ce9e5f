"""The kind `levels`: light comes out of a LUT at given levels, within a tolerance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.judging import verdict
from lutbench.checks.limits import CheckFigure, checked_limit, greatest_distance
from lutbench.checks.settings import End
from lutbench.errors import DefinitionError
from lutbench.formats.comments import ends_in_comments
from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import (
    CODES_10_BIT,
    Range,
    RangeFromSignal,
    SignalFromRange,
    code_from_signal,
)
from lutbench.recipes.keys import Bits, TableSettings, Unchecked
from lutbench.recipes.subjects import NamedTransform

UNITS = ("percent", "signal", "code")
MOST_STOPS = 20
"""Most stops above or below mid grey; the widest encoding records up to 16."""

MOST_LIGHT = MID_GREY * 2.0**MOST_STOPS
SCALES = {"percent": 100.0, "signal": 1.0}
DEFAULT_WITHIN = {"percent": 0.2, "signal": 0.002, "code": 2.0}
"""Two 10-bit codes in each unit: about the error of a LUT of 33 nodes between its nodes."""


@dataclass(frozen=True, kw_only=True)
class LevelsPoint(TableSettings):
    """Light by `reflectance` or `stops`, and its output as `percent`, `signal` or `code`."""

    reflectance: float | None = None
    """1 is a perfect white diffuser."""
    stops: float | None = None
    """Stops from mid grey."""
    percent: float | None = None
    """Percent of the nominal signal."""
    signal: float | None = None
    """0 is nominal black, 1 nominal white."""
    code: float | None = None
    """A code value at the depth `bits`, in `range`."""
    within: Unchecked | None = None
    """The tolerance, in the same unit."""
    bits: Bits = 10
    range: Range = "full"

    def __post_init__(self) -> None:
        _light(self)
        given = [unit for unit in UNITS if getattr(self, unit) is not None]
        if len(given) != 1:
            raise DefinitionError(
                "a point needs exactly one level",
                where=self.where,
                accepted="percent, signal, code",
            )
        if self.code is None:
            self.refuse_unused("code = ...", "bits", "range")

    @property
    def unit(self) -> str:
        """The unit of the level."""
        return self.only_one(*UNITS)

    @property
    def value(self) -> float:
        """The level."""
        return float(getattr(self, self.unit))

    @property
    def tolerance(self) -> Any:
        """What was given as `within`, or the default in this unit."""
        scale = (2**self.bits - 1) / CODES_10_BIT if self.unit == "code" else 1.0
        return DEFAULT_WITHIN[self.unit] * scale if self.within is None else self.within


@dataclass(frozen=True, kw_only=True)
class LevelsCheck(Check):
    """The levels of light after a LUT."""

    kind: ClassVar[str] = "levels"
    lut: str
    source: End = None
    target_range: Range | None = None
    points: tuple[LevelsPoint, ...]

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
        lights = [_light(point) for point in self.points]
        light = np.array([[value] * 3 for value, _ in lights])
        recorded = source.curve.encode(light)
        if source.range == "legal":
            recorded = RangeFromSignal("legal", source.bits).apply(recorded)
        out = np.asarray(side.transform.apply(recorded), dtype=np.float64)
        signal = SignalFromRange(target_range).apply(out)
        figures = []
        for point, (_, name), full, own_signal in zip(
            self.points, lights, out, signal, strict=True
        ):
            reached = {
                "percent": 100 * own_signal,
                "signal": own_signal,
                "code": _codes(full, own_signal, point),
            }[point.unit]
            most = greatest_distance(point.value, SCALES.get(point.unit, 2.0**point.bits - 1))
            within = checked_limit(point.tolerance, self.at("within"), most)
            off = np.abs(reached - point.value)
            worst = float(reached[int(off.argmax())]) if np.isfinite(off).all() else float("nan")
            unit = {"percent": "%", "signal": "signal", "code": f"{point.bits}-bit codes"}[
                point.unit
            ]
            label = f"{name} at {worst:.5g} {unit}, expected {point.value:g}: off by"
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


def _codes(full: Any, signal: Any, point: LevelsPoint) -> Any:
    """Codes at the point's bit depth, in its range."""
    if point.range == "legal":
        return code_from_signal(signal, point.bits, "legal")
    return full * (2**point.bits - 1)


def _light(point: LevelsPoint) -> tuple[float, str]:
    """The light of a point (1.0 is a perfect white diffuser), and its name."""
    if point.reflectance is not None and point.stops is not None:
        raise DefinitionError(
            "both reflectance and stops are given", where=point.where, accepted="one of them"
        )
    if point.reflectance is not None:
        light = point.reflectance
        if not 0 <= light <= MOST_LIGHT:
            raise DefinitionError(
                f"a reflectance of {light:g} is out of range",
                where=point.at("reflectance"),
                accepted=f"0 to {MOST_LIGHT:.0f}, where 1 is a perfect white",
            )
        return light, f"{100 * light:g} % reflectance"
    stops = point.stops or 0.0
    if abs(stops) > MOST_STOPS:
        raise DefinitionError(
            f"{stops:g} stops are out of range",
            where=point.at("stops"),
            accepted=f"-{MOST_STOPS} to {MOST_STOPS}",
        )
    return MID_GREY * 2.0**stops, f"{stops:+g} stops" if stops else "mid grey"
