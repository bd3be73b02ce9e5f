"""Gamma adjustment: from a display to one of another peak, with the same look.

A brighter display needs more system gamma for a picture to look the same. The system gamma of
HLG says how much more (Recommendation ITU-R BT.2100-2, table 5, notes 5e and 5f; Report ITU-R
BT.2390, 6.2). Reports ITU-R BT.2390 and BT.2408 use it between displays (which of their
conversions do is from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np

from lutbench.model.curves.hdr import hlg_system_gamma
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT2020, Gamut
from lutbench.model.light import REFERENCE_SURROUND_CD_M2, REFERENCE_WHITE_CD_M2, Side
from lutbench.model.parameter import bounded, hold_to_limits
from lutbench.model.tone import BetweenPeaks
from lutbench.model.transforms import Array, Transform

DARKEST_SHARE = 1e-12
"""Luminance over the peak: for darker light the gain is constant."""


@dataclass(frozen=True)
class GammaAdjust(BetweenPeaks):
    """Display light for a display of another peak: L' = L_W'·(Y/L_W)^(g-1)·L/L_W.

    g = γ'/γ, each γ the system gamma of HLG for that peak and surround; Y is the luminance,
    so chromaticity stays. It is the same as the OOTF of HLG for one display, inverted, and
    then that for the other display. The inverse is the reverse adjustment.

    Parameters
    ----------
    source_peak, target_peak
        cd/m². By default from SDR of 100 to HDR reference white, 203.
    source_surround, target_surround
        cd/m² around the picture.

    >>> GammaAdjust(1000.0, 600.0).apply([1000.0, 1000.0, 1000.0]).round(6).tolist()
    [600.0, 600.0, 600.0]
    """

    source_peak: float = bounded(100.0, 1, 10000, "cd/m²")
    target_peak: float = bounded(REFERENCE_WHITE_CD_M2, 1, 10000, "cd/m²")
    source_surround: float = bounded(REFERENCE_SURROUND_CD_M2, 0.1, 1000, "cd/m²")
    target_surround: float = bounded(REFERENCE_SURROUND_CD_M2, 0.1, 1000, "cd/m²")
    kind: ClassVar[str] = "gamma_adjust"
    method: ClassVar[str] = "gamma-adjust"
    says: ClassVar[str] = "the same look on a display of another peak (gamma adjustment)"
    side: ClassVar[Side | None] = "display"

    @classmethod
    def between(
        cls, source: Encoding, target: Encoding, exposure: float = 0.0, **settings: Any
    ) -> Self:
        """From the source's display to the target's, unless `settings` say otherwise.

        SDR in an HDR signal reaches up to reference white, whatever the display's peak.
        """
        given = dict(settings)
        for key, end in (("source", source), ("target", target)):
            if end.display is None:
                continue
            given.setdefault(f"{key}_surround", end.display.surround)
            if key == "source" or source.curve.hdr or not target.curve.hdr:
                given.setdefault(f"{key}_peak", end.display.peak)
        if source.curve.hdr and source.display is None:
            given.setdefault("source_peak", 1000.0)
        return cls(**given)

    def __post_init__(self) -> None:
        hold_to_limits(self, "gamma adjustment")

    @property
    def per_channel(self) -> bool:
        return False

    @property
    def words(self) -> str:
        return (
            f"gamma adjustment of {self.power:.4g} on luminance, "
            f"{self.source_peak:g} to {self.target_peak:g} cd/m²"
        )

    @property
    def power(self) -> float:
        """The exponent g of luminance.

        >>> round(GammaAdjust(100.0, 203.0).power, 3)
        1.114
        """
        before = hlg_system_gamma(self.source_peak, self.source_surround)
        return hlg_system_gamma(self.target_peak, self.target_surround) / before

    def within(self, gamut: Gamut) -> Transform:
        return GammaAdjusted(self, gamut)

    def _apply(self, rgb: Array) -> Array:
        return GammaAdjusted(self)._apply(rgb)

    def inverse(self) -> GammaAdjust:
        return GammaAdjust(
            self.target_peak, self.source_peak, self.target_surround, self.source_surround
        )


@dataclass(frozen=True)
class GammaAdjusted(Transform):
    """A gamma adjustment on light of a gamut."""

    tone: GammaAdjust
    gamut: Gamut = BT2020
    kind: ClassVar[str] = "gamma_adjusted"

    def _apply(self, rgb: Array) -> Array:
        relative = rgb / self.tone.source_peak
        luminance = np.maximum(relative @ np.array(self.gamut.luminance_weights), DARKEST_SHARE)
        gain = luminance ** (self.tone.power - 1)
        return np.asarray(self.tone.target_peak * gain[..., None] * relative)

    def inverse(self) -> GammaAdjusted:
        return GammaAdjusted(self.tone.inverse(), self.gamut)
