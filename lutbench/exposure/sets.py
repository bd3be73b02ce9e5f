"""The levels of a set of LUTs side by side, and which LUT fits an exposure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

from lutbench.exposure.levels import Levels
from lutbench.exposure.reading import CARDS, Level, signed_stops
from lutbench.results import PlainData, Result

SAME_EXPOSURE_STOPS = 0.05
"""Stops: two exposures that differ by less look the same."""


@dataclass(frozen=True)
class SetMember(PlainData):
    """A LUT of a set with its levels.

    `exposure` is the number of stops by which the LUT brightens, None if it is not known;
    `day` is None if no levels can be given, and `note` then says why.
    """

    KEYS = ("name", "exposure_stops=exposure", "note?", "levels=day")

    name: str
    day: Levels | None
    exposure: float | None = None
    """Stops by which it brightens, where that is known."""
    note: str = ""
    """Why it has no levels."""

    @property
    def cards(self) -> list[tuple[str, Level]]:
        """Name and level of the cards, and of the clipping point."""
        if self.day is None:
            return []
        lines = [(label, self.day.at(light)) for light, label in CARDS]
        return [*lines, ("clip", self.day.levels[-1])]


@dataclass(frozen=True, repr=False)
class SetLevels(Result):
    """The levels of a set of LUTs for the day, the scene exposed by `exposed` stops."""

    KEYS = ("schema", "exposed_stops=exposed", "paired=paired_names", "advice?", "luts=members")
    schema: ClassVar[Literal[1]] = 1

    members: tuple[SetMember, ...]
    exposed: float = 0.0

    @property
    def paired(self) -> tuple[SetMember, ...]:
        """The LUTs that compensate the exposure: for a scene at +1 stop, a LUT of -1 stop."""
        if not self.exposed:
            return ()
        return tuple(each for each in self.members if compensates(each.exposure, self.exposed))

    @property
    def paired_names(self) -> list[str]:
        """The LUTs that correct the exposure."""
        return [each.name for each in self.paired]

    @property
    def advice(self) -> str:
        """Which LUT to use on the monitor; empty for a scene that is exposed as metered."""
        if not self.exposed:
            return ""
        scene = f"Exposed {signed_stops(self.exposed)}"
        if self.paired:
            names = ", ".join(each.name for each in self.paired)
            return f"{scene}: use {names} on the monitor, which brings it back"
        return f"{scene}: none of these LUTs brings it back; {missing_lut(self.exposed)}"


def compensates(exposure: float | None, exposed: float) -> bool:
    """Whether a LUT of that exposure compensates a scene that is exposed over by `exposed`.

    >>> compensates(-1.0, 1.0), compensates(0.0, 1.0), compensates(None, 1.0)
    (True, False, False)
    """
    return exposure is not None and math.isclose(exposure, -exposed, abs_tol=SAME_EXPOSURE_STOPS)


def missing_lut(exposed: float) -> str:
    """What to do if no LUT at hand compensates an exposure.

    >>> missing_lut(1)
    'build one of −1 stop (exposure_ladder = [-1] in its recipe)'
    """
    return f"build one of {signed_stops(-exposed)} (exposure_ladder = [{-exposed:g}] in its recipe)"


def families(members: Sequence[SetMember]) -> list[list[SetMember]]:
    """The members that have levels, grouped by the recording's curve, in the order given."""
    found: dict[str, list[SetMember]] = {}
    for each in members:
        if each.day is not None:
            found.setdefault(each.day.curve.name, []).append(each)
    return list(found.values())
