"""Neutral density filters: their stops, and which of them corrects an over-exposure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from lutbench.errors import LutbenchError
from lutbench.results import PlainData

MOST_STACKED = 3
"""Filters in front of a lens at once: a matte box holds three."""

MOST_DENSITY = 6.0
"""Density of the strongest filter that may be named: 20 stops, for the sun itself."""


@dataclass(frozen=True)
class NeutralDensity(PlainData):
    """A neutral density filter, or a stack of them.

    `density` is log10(1 / transmission); stops are density / log10(2). `parts` are the
    densities of a stack's filters, strongest first; empty for a single filter.

    >>> filter = NeutralDensity(1.2)
    >>> filter.nominal_stops, round(filter.stops, 2), filter.factor
    (4, 3.99, 16)
    >>> str(NeutralDensity(1.8, (1.2, 0.6)))
    'ND 1.2 + 0.6'
    """

    KEYS = ("density", "parts=filters", "nominal_stops", "stops", "factor", "transmission")

    density: float
    parts: tuple[float, ...] = ()

    @property
    def filters(self) -> tuple[float, ...]:
        """The densities that make it up."""
        return self.parts or (self.density,)

    @property
    def transmission(self) -> float:
        """The share of the light that it lets through."""
        return float(10**-self.density)

    @property
    def nominal_stops(self) -> int:
        """Whole stops at 0.3 a stop."""
        return round(self.density / 0.3)

    @property
    def stops(self) -> float:
        """Stops by the density."""
        return self.density / math.log10(2)

    @property
    def factor(self) -> int:
        """The factor that is engraved on a filter: 2 to the power of the nominal stops."""
        return 1 << self.nominal_stops

    def __str__(self) -> str:
        return "ND " + " + ".join(f"{each:.1f}" for each in self.filters)


NEUTRAL_DENSITIES = tuple(NeutralDensity(round(0.3 * n, 1)) for n in range(1, 11))
"""The usual filters, 1 to 10 stops."""


@dataclass(frozen=True)
class ChosenDensity(PlainData):
    """A filter for the day."""

    KEYS = ("*filter", "leaves")

    filter: NeutralDensity
    leaves: float
    """Stops that remain; positive is over."""


@dataclass(frozen=True)
class FilterChoice(PlainData):
    """The filters for a metered over-exposure: one that is too weak, one that is strong enough.

    `weaker` is None where `stronger` is exact; `stronger` is None where no stack is strong enough.
    """

    KEYS = (
        "over_exposure_stops=over", "weaker=weaker_leaves", "stronger=stronger_leaves", "text"
    )  # fmt: skip

    over: float
    weaker: NeutralDensity | None
    stronger: NeutralDensity | None

    @property
    def text(self) -> str:
        """The choice in words."""
        if self.weaker is None and self.stronger is not None:
            under = self.stronger.stops - self.over
            if under > self.over:
                return (
                    f"{self.over:.1f} stops over: {self.stronger} would leave {under:.1f} stops "
                    "under: stop down instead"
                )
        if self.weaker is not None and self.stronger is None:
            left = self.over - self.weaker.stops
            return f"{self.weaker} still leaves {left:.1f} stops over: stop down as well"
        parts = [
            f"{each} leaves {abs(left):.1f} stops {'over' if left > 0 else 'under'}"
            if abs(left := self.over - each.stops) >= 0.05
            else f"{each} corrects it to within {abs(left):.2f} stops"
            for each in (self.weaker, self.stronger)
            if each is not None
        ]
        return f"{self.over:.1f} stops over: " + "; ".join(parts)

    @property
    def weaker_leaves(self) -> ChosenDensity | None:
        """The weaker filter with the stops that it leaves."""
        return self._leaving(self.weaker)

    @property
    def stronger_leaves(self) -> ChosenDensity | None:
        """The stronger filter with the stops that it leaves."""
        return self._leaving(self.stronger)

    def _leaving(self, each: NeutralDensity | None) -> ChosenDensity | None:
        return None if each is None else ChosenDensity(each, self.over - each.stops)


def choose_filter(over: float, at_hand: Sequence[float] = ()) -> FilterChoice:
    """The neutral density filters just under and just over an over-exposure in stops.

    A single filter if there is one, else a stack of up to three.

    Parameters
    ----------
    over
        Stops of over-exposure, above 0 and up to 20.
    at_hand
        The densities of the filters in the bag. Default: the usual ones, 0.3 to 3.0.

    Raises
    ------
    LutbenchError
        When the over-exposure or a density is out of range.

    >>> choose_filter(3.2).text
    '3.2 stops over: ND 0.9 leaves 0.2 stops over; ND 1.2 leaves 0.8 stops under'
    >>> choose_filter(5.5, [0.6, 1.2]).text
    '5.5 stops over: ND 1.2 leaves 1.5 stops over; ND 1.2 + 0.6 leaves 0.5 stops under'
    """
    if not 0 < over <= 20:
        raise LutbenchError(
            f"an over-exposure of {over:g} stops is out of range", accepted="above 0, up to 20"
        )
    for density in at_hand:
        if not 0 < density <= MOST_DENSITY:
            raise LutbenchError(
                f"a filter of density {density:g} is out of range",
                accepted=f"above 0, up to {MOST_DENSITY:g} (a factor of 8 is a density of 0.9)",
            )
    stacks = _stacks(at_hand or [each.density for each in NEUTRAL_DENSITIES])
    weaker = [each for each in stacks if _nominal(each) <= over]
    stronger = [each for each in stacks if _nominal(each) > over]
    exact = bool(weaker) and math.isclose(_nominal(weaker[-1]), over)
    return FilterChoice(
        over,
        weaker[-1] if weaker and not exact else None,
        weaker[-1] if exact else stronger[0] if stronger else None,
    )


def _nominal(each: NeutralDensity) -> float:
    return each.density / 0.3


def _stacks(densities: Sequence[float]) -> list[NeutralDensity]:
    """Every density that single filters and stacks give, each with the fewest filters."""
    found: dict[float, NeutralDensity] = {}
    strongest_first = sorted(densities, reverse=True)
    for count in range(1, MOST_STACKED + 1):
        for parts in combinations(strongest_first, count):
            total = round(sum(parts), 2)
            found.setdefault(total, NeutralDensity(total, parts if count > 1 else ()))
    return sorted(found.values(), key=_nominal)
