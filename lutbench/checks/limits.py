"""Limits on differences, each in a named unit.

The name of a limit is that of a measure, for the maximum, or with ``_mean``, ``_p95`` or
``_p99`` added: ``delta_e_2000``, ``delta_e_itp_p95``, ``code_10bit_mean``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lutbench.errors import DefinitionError
from lutbench.given import number
from lutbench.measure.delta_e import DELTA_E_NAMES
from lutbench.measure.difference import Spread
from lutbench.model.signal import CODES_10_BIT
from lutbench.results import PlainData

UNITS = DELTA_E_NAMES | {"code_10bit": "10-bit codes"}
FIGURES = {"mean": "mean", "p95": "95th percentile", "p99": "99th percentile", "max": "maximum"}
MOST = {"delta_e_2000": 100.0, "delta_e_itp": 720.0, "code_10bit": CODES_10_BIT}
"""The largest possible difference by measure: that of black and white; that of the ends of PQ
(720 times I, Recommendation ITU-R BT.2124); the scale. Within such a limit everything passes."""

NAMES = tuple(
    measure if figure == "max" else f"{measure}_{figure}"
    for measure in UNITS
    for figure in ("max", "p99", "p95", "mean")
)


@dataclass(frozen=True)
class CheckFigure(PlainData):
    """A figure that was found, and its limit."""

    KEYS = ("name", "found", "limit", "label", "unit", "holds")

    name: str
    found: float
    limit: float
    label: str
    """A description, with the unit unless `unit` states it."""
    unit: str = ""

    @property
    def holds(self) -> bool:
        """Whether the figure is within the limit; NaN never is."""
        return bool(self.found <= self.limit)

    @property
    def words(self) -> str:
        """The figure and the limit in words."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.label} {self.found + 0:.4g}{unit}, limit {self.limit:g}"


def checked_limit(value: Any, where: str, most: float = math.inf) -> float:
    """A limit as a number from 0 to below `most`, the largest possible difference.

    Any other would pass everything, or nothing.
    """
    limit = number(value, where)
    if not math.isfinite(limit) or not 0 <= limit < most:
        accepted = "a finite number from 0" if most == math.inf else f"0 to less than {most:g}"
        raise DefinitionError(
            f"a limit of {limit:g} checks nothing", where=where, accepted=accepted
        )
    return limit


def greatest_distance(value: float, scale: float) -> float:
    """How far from `value` anything on a scale from 0 can be; at most the whole scale.

    >>> greatest_distance(40.0, 100.0), greatest_distance(109.0, 100.0)
    (60.0, 100.0)
    """
    return min(max(abs(value), abs(scale - value)), scale)


def checked_limits(values: Mapping[str, Any], where: str) -> dict[str, float]:
    """Limits by name, each checked; at least one must be given."""
    limits = {
        name: checked_limit(value, f"{where}, {name}", MOST.get(measure_of(name)[0], CODES_10_BIT))
        for name, value in values.items()
    }
    if not limits:
        raise DefinitionError(
            "no limit is given, so nothing is checked", where=where, accepted=", ".join(NAMES[:4])
        )
    return limits


def checked_figures(
    limits: Mapping[str, float], spreads: Mapping[str, Spread]
) -> list[CheckFigure]:
    """Each limit with the figure that was found; failed ones come first."""
    found = []
    for name, limit in limits.items():
        measure, figure = measure_of(name)
        label = f"{FIGURES[figure]} {UNITS[measure]}"
        found.append(CheckFigure(name, getattr(spreads[measure], figure), limit, label))
    return sorted(found, key=lambda each: each.holds)


def measure_of(name: str) -> tuple[str, str]:
    """The measure and the figure of a limit's name.

    >>> measure_of("delta_e_2000"), measure_of("code_10bit_p95")
    (('delta_e_2000', 'max'), ('code_10bit', 'p95'))
    """
    measure, _, figure = name.rpartition("_")
    return (measure, figure) if measure in UNITS else (name, "max")
