"""The EETF of Report ITU-R BT.2390: from a mastering display to a display of less peak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.curves.hdr import PQ_PEAK, pq_luminance, pq_signal
from lutbench.model.light import Side
from lutbench.model.parameter import bounded, hold_to_limits, worded
from lutbench.model.tone import BetweenPeaks
from lutbench.model.tone.carrier import CARRIERS, CHANNELS, OnCarrier, check_carrier
from lutbench.model.transforms import Array, Transform


@dataclass(frozen=True)
class Eetf(OnCarrier, BetweenPeaks):
    """From a mastering display to a display of less peak: Report ITU-R BT.2390, 5.4.1.

    Input and output are display light in cd/m². The curve works on PQ signal: a Hermite
    shoulder from KS = 1.5·maxLum - 0.5, and a black lift of minLum·(1 - E)^4.
    Applied `on` each channel, or on the ``largest``, ``luminance`` or ``intensity``, with a
    `blend` to white (`lutbench.model.tone.carrier`).

    >>> Eetf(1000.0, 400.0).apply([10.0, 400.0, 1000.0]).round(1).tolist()
    [10.0, 348.7, 400.0]
    """

    source_peak: float = bounded(1000.0, 1, PQ_PEAK, "cd/m²")
    target_peak: float = bounded(203.0, 1, PQ_PEAK, "cd/m²")
    source_black: float = bounded(0.0, 0, PQ_PEAK / 2, "cd/m²")
    target_black: float = bounded(0.0, 0, PQ_PEAK / 2, "cd/m²")
    on: str = worded(CHANNELS, CARRIERS)
    blend: float = bounded(0.0, 0, 1)
    kind: ClassVar[str] = "eetf_bt2390"
    method: ClassVar[str] = "eetf"
    says: ClassVar[str] = "from a mastering display to one with a lower peak (BT.2390)"
    side: ClassVar[Side | None] = "display"

    @property
    def words(self) -> str:
        return (
            f"EETF of BT.2390, {self.source_peak:g} to {self.target_peak:g} cd/m², "
            f"black {self.source_black:g} to {self.target_black:g} cd/m², on {self.on}"
            + (f", blend {self.blend:g}" if self.blend else "")
        )

    @property
    def ceiling(self) -> float:
        """The target's peak, cd/m²."""
        return self.target_peak

    @property
    def unit(self) -> float:
        """1, since the EETF works in cd/m²."""
        return 1.0

    def __post_init__(self) -> None:
        hold_to_limits(self, "EETF")
        check_carrier("EETF", self.on, self.blend)
        blacks_fit = 0 <= self.source_black <= self.target_black or self.target_black == 0
        if not (1 <= self.target_peak <= self.source_peak <= PQ_PEAK):
            raise DefinitionError(
                f"a target peak of {self.target_peak:g} for a source of {self.source_peak:g} cd/m²",
                where="EETF",
                accepted="1 <= target peak <= source peak <= 10000",
            )
        if not blacks_fit or max(self.source_black, self.target_black) >= self.target_peak / 2:
            raise DefinitionError(
                "the black levels are out of range",
                where="EETF",
                accepted="0 <= source black <= target black < half the target peak",
            )

    def curve(self, light: Array) -> Array:
        """The EETF of light in cd/m², any shape."""
        low, high = pq_signal(np.array([self.source_black, self.source_peak]))
        span = high - low
        dark, bright = (pq_signal(np.array([self.target_black, self.target_peak])) - low) / span
        e1 = np.clip((pq_signal(light) - low) / span, 0, 1)
        knee = 1.5 * bright - 0.5
        t = np.clip((e1 - knee) / max(1 - knee, 1e-12), 0, 1)
        hermite = (
            (2 * t**3 - 3 * t**2 + 1) * knee
            + (t**3 - 2 * t**2 + t) * (1 - knee)
            + (-2 * t**3 + 3 * t**2) * bright
        )
        e2 = np.where(e1 < knee, e1, hermite)
        e3 = e2 + max(dark, 0.0) * (1 - e2) ** 4
        return np.asarray(pq_luminance(e3 * span + low))

    def curve_back(self, result: Array) -> Array:
        """Always raises NotInvertibleError: there is no inverse."""
        raise self._none()

    def inverse(self) -> Transform:
        raise self._none()

    def _none(self) -> NotInvertibleError:
        return NotInvertibleError(
            f"{self!r} flattens at the target peak and has no inverse in closed form"
        )
