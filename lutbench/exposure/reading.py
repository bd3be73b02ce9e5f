"""A signal level as instruments show it, and the reflectances that are read."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import Range, code_from_signal, signal_from_full_scale

BIT_DEPTHS = (8, 10, 12)
"""Bits for which codes are given: what cameras and monitors show them in."""

BLACK, GREY, SKIN, WHITE_CARD, WHITE = 0.0, MID_GREY, 0.36, 0.90, 1.0
"""Reflectances: no light, mid grey, light skin (commonly held one stop over grey), cards."""

DARK_SKIN = GREY / 2
"""Reflectance: one stop under mid grey, as light skin is commonly held one stop over it. The dark
skin patch of the measured 24-patch chart has 10 %."""


@dataclass(frozen=True)
class Reading:
    """A signal level as the instruments show it.

    `signal` is nominal: 0 black, 1 white. Values outside `low`..`high`, which is
    what the codes carry, are what the curve asks for; percent and code values are
    held there.
    """

    signal: float
    low: float = field(default=0.0, kw_only=True)
    high: float = field(default=1.0, kw_only=True)

    @property
    def held(self) -> float:
        """The signal that is recorded."""
        return min(max(self.signal, self.low), self.high)

    @property
    def percent(self) -> float:
        """Percent of the nominal signal (IRE), as zebra and waveform count it: 100·signal."""
        return 100 * self.held

    @property
    def percent_full_as_legal(self) -> float:
        """What a waveform that takes full-range codes for legal ones shows: (code - 64) / 876.

        >>> round(Reading(0.5).percent_full_as_legal, 1)
        51.1
        """
        full = min(max(self.held, 0.0), 1.0)
        return 100 * float(signal_from_full_scale(full))

    def code(self, bits: int, name: Range) -> int:
        """The code value on a carrier of that range, rounded.

        >>> Reading(0.5).code(10, "legal"), Reading(0.5).code(10, "full")
        (502, 512)
        """
        return math.floor(float(code_from_signal(self.held, bits, name)) + 0.5)

    def to_data(self) -> dict[str, Any]:
        """Signal, percent and code values as plain data."""
        return {
            "signal": self.signal,
            "percent": self.percent,
            "percent_full_as_legal": self.percent_full_as_legal,
            "code": {
                name: {str(bits): self.code(bits, name) for bits in BIT_DEPTHS}
                for name in ("full", "legal")
            },
        }


@dataclass(frozen=True)
class AfterLut(Reading):
    """What a LUT makes of a level: the mean of R G B, and the three."""

    rgb: tuple[float, float, float]

    def to_data(self) -> dict[str, Any]:
        return super().to_data() | {"rgb": list(self.rgb)}


def stops_of(reflectance: float) -> float:
    """Stops from mid grey; minus infinity for no light.

    >>> stops_of(0.36)
    1.0
    """
    return math.log2(reflectance / MID_GREY) if reflectance > 0 else -math.inf
