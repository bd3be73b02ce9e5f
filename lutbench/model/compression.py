"""Gamut compression: colours outside a gamut are moved inside, towards the neutral axis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.parameter import bounded, hold_to_limits
from lutbench.model.transforms import Array, Transform

ACADEMY_THRESHOLDS = (0.815, 0.803, 0.880)
"""Distances of cyan, magenta and yellow at which compression starts (Academy Reference Gamut
Compression 1.3)."""

ACADEMY_LIMITS = (1.147, 1.264, 1.312)
"""Distances of cyan, magenta and yellow that come to the gamut's edge (the same source)."""

ACADEMY_POWER = 1.2
"""Exponent of the compression (the same source)."""


@dataclass(frozen=True)
class GamutCompression(Transform):
    """Compression of distances from the neutral axis, which brings colours into the gamut.

    For each channel d = (max - value) / |max|; above its threshold t
    d' = t + s·n / (1 + n^p)^(1/p) with n = (d - t)/s, and s such that the limit
    becomes 1. Defaults: the open Academy reference gamut compression.
    """

    thresholds: tuple[float, float, float] = bounded(ACADEMY_THRESHOLDS, 0, 0.9999)
    limits: tuple[float, float, float] = bounded(ACADEMY_LIMITS, 1.0001, 1000)
    power: float = bounded(ACADEMY_POWER, 1, 100)
    kind: ClassVar[str] = "gamut_compression"
    says: ClassVar[str] = "each channel's distance from the brightest is compressed (Academy)"

    def __post_init__(self) -> None:
        fits = all(0 <= t < 1 < c for t, c in zip(self.thresholds, self.limits, strict=True))
        if not fits or not self.power >= 1:
            raise DefinitionError(
                "the parameters are out of range",
                where="gamut compression",
                accepted="0 <= threshold < 1 < limit in each channel, power >= 1",
            )
        hold_to_limits(self, "gamut compression")

    @property
    def _scale(self) -> Array:
        t, c, p = np.array(self.thresholds), np.array(self.limits), self.power
        return np.asarray((c - t) / (((1 - t) / (c - t)) ** -p - 1) ** (1 / p))

    def _moved(self, rgb: Array, compress: bool) -> Array:
        p = self.power
        peak = np.maximum(np.maximum(rgb[..., 0], rgb[..., 1]), rgb[..., 2])
        size = np.abs(peak)
        divisor = np.where(size == 0, 1.0, size)
        moved = np.array(rgb, dtype=np.float64)
        for c, (t, s) in enumerate(zip(self.thresholds, self._scale, strict=True)):
            distance = (peak - rgb[..., c]) / divisor
            # Compressed distances never reach t + s; larger ones are left unchanged.
            over = (distance >= t) & (size > 0) & (compress or distance < t + (1 - 1e-9) * s)
            n = (distance[over] - t) / s
            if compress:
                n = n / (1 + n**p) ** (1 / p)
            else:
                q = n**p
                n = (q / (1 - q)) ** (1 / p)
            moved[..., c][over] = peak[over] - (t + s * n) * size[over]
        return moved

    def _apply(self, rgb: Array) -> Array:
        return self._moved(rgb, compress=True)

    def inverse(self) -> GamutExpansion:
        return GamutExpansion(self)


@dataclass(frozen=True)
class GamutExpansion(Transform):
    """The inverse of a gamut compression."""

    compression: GamutCompression
    kind: ClassVar[str] = "gamut_expansion"

    def _apply(self, rgb: Array) -> Array:
        return self.compression._moved(rgb, compress=False)

    def inverse(self) -> GamutCompression:
        return self.compression
