"""A signal level as instruments show it, a line of a table of levels, and the usual subjects."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar, Literal, get_args

from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import Range, code_from_signal, signal_from_full_scale
from lutbench.results import PlainData

BIT_DEPTHS = (8, 10, 12)
"""Bit depths for which codes are given: those that cameras and monitors use."""

BLACK = 0.0
"""Reflectance of no light."""

GREY = MID_GREY
"""Reflectance of a grey card."""

SKIN = 0.36
"""Reflectance of light skin: one stop over mid grey, by common practice."""

WHITE_CARD = 0.90
"""Reflectance of a white card."""

WHITE = 1.0
"""Reflectance of a perfect white diffuser."""

DARK_SKIN = GREY / 2
"""Reflectance of dark skin: one stop under mid grey, by common practice. The dark skin patch of the
measured 24-patch chart has 10 %."""

CARDS = (
    (GREY, "grey card"),
    (DARK_SKIN, "dark skin"),
    (SKIN, "light skin"),
    (WHITE_CARD, "white card"),
)
"""The subjects whose levels are listed for each LUT."""


@dataclass(frozen=True)
class Reading(PlainData):
    """A signal level as the instruments show it.

    `signal` is nominal: 0 black, 1 white. It may lie outside `low`..`high`, the range of the
    codes; percent and code values are clipped to that range.
    """

    KEYS: ClassVar[tuple[str, ...]] = ("signal", "percent", "percent_full_as_legal", "code=codes")

    signal: float
    """0 is nominal black, 1 nominal white."""
    low: float = field(default=0.0, kw_only=True)
    high: float = field(default=1.0, kw_only=True)

    @property
    def held(self) -> float:
        """The signal that is recorded."""
        return min(max(self.signal, self.low), self.high)

    @property
    def percent(self) -> float:
        """Percent of the nominal signal (IRE), as zebra and waveform show it: 100 times the signal,
        clipped to the range of its codes."""
        return 100 * self.held

    @property
    def percent_full_as_legal(self) -> float:
        """What a waveform shows that reads full-range codes as legal ones: (code - 64) / 876.

        >>> round(Reading(0.5).percent_full_as_legal, 1)
        51.1
        """
        full = min(max(self.held, 0.0), 1.0)
        return 100 * float(signal_from_full_scale(full))

    def code(self, bits: int, name: Range) -> int:
        """The code value in that range, rounded.

        >>> Reading(0.5).code(10, "legal"), Reading(0.5).code(10, "full")
        (502, 512)
        """
        return math.floor(float(code_from_signal(self.held, bits, name)) + 0.5)

    @property
    def codes(self) -> dict[Range, dict[int, int]]:
        """Code values by range and bit depth: the depths are "8", "10" and "12"."""
        return {
            name: {bits: self.code(bits, name) for bits in BIT_DEPTHS} for name in get_args(Range)
        }


@dataclass(frozen=True)
class AfterLut(Reading):
    """A level after a LUT: `signal` is the mean of R, G and B, which `rgb` holds."""

    KEYS = (*Reading.KEYS, "rgb")

    rgb: tuple[float, float, float]


def stops_of(reflectance: float) -> float:
    """Stops from mid grey; minus infinity for no light.

    >>> stops_of(0.36)
    1.0
    """
    return math.log2(reflectance / MID_GREY) if reflectance > 0 else -math.inf


def signed_stops(stops: float) -> str:
    """Stops with their sign, and the word "stop" or "stops".

    >>> signed_stops(1), signed_stops(-0.5), signed_stops(2)
    ('+1 stop', '−0.5 stop', '+2 stops')
    """
    return f"{stops:+g} stop{'' if abs(stops) <= 1 else 's'}".replace("-", "−")


@dataclass(frozen=True)
class Level(PlainData):
    """A line of the table.

    `clipped` is ``"high"`` or ``"low"`` where the curve leaves the range of the codes, else
    empty. `reflectance` is NaN where no curve is known, `stops` minus infinity for no light.
    """

    KEYS = (
        *("label", "reflectance=known_reflectance", "stops=known_stops", "clipped?"),
        *("*recorded", "luminance", "after_lut"),
    )

    label: str
    reflectance: float
    recorded: Reading
    after_lut: AfterLut | None = None
    """The same after the LUT: the mean of R, G and B, and the three."""
    luminance: float | None = None
    """cd/m² on the display that was named, after the LUT if there is one."""

    @property
    def stops(self) -> float:
        """Stops from mid grey."""
        return stops_of(self.reflectance)

    @property
    def known_reflectance(self) -> float | None:
        """0.18 is mid grey, 1 a perfect white diffuser; null where no curve is known."""
        return None if math.isnan(self.reflectance) else self.reflectance

    @property
    def known_stops(self) -> float | None:
        """Stops from mid grey; null for no light."""
        return self.stops if math.isfinite(self.stops) else None

    @property
    def is_subject(self) -> bool:
        """Whether it is a named subject and not a whole stop."""
        return not self.label.startswith(("+", "-"))

    @property
    def clipped(self) -> Literal["high", "low", ""]:
        """``"high"``, ``"low"`` or nothing."""
        if self.recorded.signal > self.recorded.high + 1e-9:
            return "high"
        return "low" if self.recorded.signal < self.recorded.low - 1e-9 else ""
