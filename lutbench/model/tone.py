"""Tone: exposure, the shoulder-and-toe curve, the EETF of BT.2390, gamut compression."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.curves.base import MID_GREY, mirrored
from lutbench.model.curves.hdr import PQ_PEAK, REFERENCE_WHITE, pq_luminance, pq_signal
from lutbench.model.transforms import Array, Transform


@dataclass(frozen=True)
class Exposure(Transform):
    """Light times 2^stops.

    >>> Exposure(1.0).apply([0.18, 0.18, 0.18]).tolist()
    [0.36, 0.36, 0.36]
    """

    stops: float = 0.0
    kind: ClassVar[str] = "exposure"

    def __post_init__(self) -> None:
        if not abs(self.stops) <= 20:
            raise DefinitionError(
                f"an exposure of {self.stops:g} stops is out of limits", accepted="-20 to 20"
            )

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(rgb * 2.0**self.stops)

    def inverse(self) -> Exposure:
        return Exposure(-self.stops)


@dataclass(frozen=True)
class ToneCurve(Transform):
    """A tone curve with shoulder and toe, drawn in stops around mid grey.

    With u = log2(light / grey_in) and v = log2(result / grey_out):

    - between ``toe_start`` and ``shoulder_start`` v = contrast·u, a straight line
      through mid grey;
    - above, with d = u - shoulder_start, v = v_s + contrast·d / (1 + d/k): the
      slope falls smoothly, and k is such that ``white`` stops above grey give ``white_out``;
    - below, with d = toe_start - u, v = v_t - contrast·d·(1 + toe·d / (d + 1)): the
      slope rises smoothly to contrast·(1 + toe), so shadows run into black faster.

    The curve is monotone, has a continuous slope, and its inverse has a closed
    form. Light of zero gives zero; below zero the curve is odd. Above ``white``
    it goes on rising slowly over 1.0.

    >>> tone = ToneCurve(white=6.0, contrast=1.2)
    >>> tone.apply([0.0, 0.18, 0.18 * 2**6]).round(9).tolist()
    [0.0, 0.18, 1.0]
    """

    grey_in: float = MID_GREY
    grey_out: float = MID_GREY
    contrast: float = 1.0
    white: float = 6.0
    shoulder_start: float = 0.0
    toe_start: float = -3.0
    toe: float = 0.0
    white_out: float = 1.0
    kind: ClassVar[str] = "tone_curve"

    def __post_init__(self) -> None:
        def refuse(what: str, accepted: str) -> None:
            raise DefinitionError(what, where="tone", accepted=accepted)

        if not all(map(math.isfinite, self.__dict__.values())):
            refuse("a parameter is not finite", "finite numbers")
        if not self.grey_in > 0 or not 0 < self.grey_out < self.white_out:
            refuse(
                f"mid grey {self.grey_in:g} to {self.grey_out:g} is out of limits",
                "grey_in over 0, grey_out between 0 and white_out",
            )
        if not 0.1 <= self.contrast <= 5:
            refuse(f"contrast {self.contrast:g} is out of limits", "0.1 to 5")
        if not 0 <= self.toe <= 10:
            refuse(f"toe {self.toe:g} is out of limits", "0 (none) to 10")
        if not self.toe_start <= 0 <= self.shoulder_start < self.white:
            refuse(
                "the toe, mid grey, the shoulder and white are not in this order",
                "toe_start <= 0 <= shoulder_start < white",
            )
        if self._rise < -1e-9:
            refuse(
                f"a contrast of {self.contrast:g} passes white before the shoulder starts",
                f"shoulder_start under {self._top / self.contrast:.2f} stops",
            )
        if self.contrast * (self.white - self.shoulder_start) < self._rise - 1e-9:
            refuse(
                f"white at {self.white:g} stops is lower than a straight line reaches it",
                f"white at {self._top / self.contrast:.2f} stops or more, or more contrast",
            )

    @property
    def _top(self) -> float:
        """Stops from grey_out up to white_out."""
        return math.log2(self.white_out / self.grey_out)

    @property
    def _rise(self) -> float:
        """Stops of result that are left to the shoulder."""
        return self._top - self.contrast * self.shoulder_start

    @property
    def _bend(self) -> float:
        """1 / k of the shoulder; 0 is a straight line."""
        length = self.white - self.shoulder_start
        rise = max(self._rise, 1e-9)
        return max(self.contrast * length / rise - 1, 0.0) / length

    def _apply(self, rgb: Array) -> Array:
        return mirrored(self._forward, rgb)

    def _forward(self, light: Array) -> Array:
        u = np.log2(np.maximum(light, 1e-30) / self.grey_in)
        above = np.maximum(u - self.shoulder_start, 0)
        below = np.maximum(self.toe_start - u, 0)
        v = self.contrast * (
            np.clip(u, self.toe_start, self.shoulder_start)
            + above / (1 + above * self._bend)
            - below * (1 + self.toe * below / (below + 1))
        )
        return np.where(light <= 0, 0.0, self.grey_out * 2.0**v)

    def _backward(self, result: Array) -> Array:
        w = np.log2(np.maximum(result, 1e-300) / self.grey_out) / self.contrast
        above = np.maximum(w - self.shoulder_start, 0)
        # The shoulder never passes this height: results over it have no light.
        above = np.minimum(above, (1 - 1e-9) / self._bend) if self._bend > 0 else above
        below = np.maximum(self.toe_start - w, 0)
        # below = d·(1 + toe·d/(d+1)) is a quadratic in d.
        a, b = 1 + self.toe, 1 - below
        d = (-b + np.sqrt(b * b + 4 * a * below)) / (2 * a)
        u = np.clip(w, self.toe_start, self.shoulder_start) + above / (1 - above * self._bend) - d
        return np.where(result <= 0, 0.0, self.grey_in * 2.0 ** np.minimum(u, 200.0))

    def inverse(self) -> ToneCurveInverse:
        return ToneCurveInverse(self)


@dataclass(frozen=True)
class ToneCurveInverse(Transform):
    """The inverse of a tone curve."""

    tone: ToneCurve
    kind: ClassVar[str] = "tone_curve_inverse"

    def _apply(self, rgb: Array) -> Array:
        return mirrored(self.tone._backward, rgb)

    def inverse(self) -> ToneCurve:
        return self.tone


@dataclass(frozen=True)
class Eetf(Transform):
    """Light of a mastering display for a lesser one: the EETF of Report ITU-R BT.2390, 5.4.1.

    Light 1.0 is 203 cd/m². The curve works on PQ signal: a Hermite shoulder
    from KS = 1.5·maxLum - 0.5, and a black lift of minLum·(1 - E)^4. Applied to
    each channel.
    """

    source_peak: float = 1000.0
    target_peak: float = 203.0
    source_black: float = 0.0
    target_black: float = 0.0
    kind: ClassVar[str] = "eetf_bt2390"

    def __post_init__(self) -> None:
        blacks_fit = 0 <= self.source_black <= self.target_black or self.target_black == 0
        if not (1 <= self.target_peak <= self.source_peak <= PQ_PEAK):
            raise DefinitionError(
                f"a target peak of {self.target_peak:g} for a source of {self.source_peak:g} cd/m²",
                where="EETF",
                accepted="1 <= target peak <= source peak <= 10000",
            )
        if not blacks_fit or max(self.source_black, self.target_black) >= self.target_peak / 2:
            raise DefinitionError(
                "the black levels are out of limits",
                where="EETF",
                accepted="0 <= source black <= target black, well under the peak",
            )

    def _apply(self, rgb: Array) -> Array:
        low, high = pq_signal(np.array([self.source_black, self.source_peak]))
        span = high - low
        dark, bright = (pq_signal(np.array([self.target_black, self.target_peak])) - low) / span
        e1 = np.clip((pq_signal(rgb * REFERENCE_WHITE) - low) / span, 0, 1)
        knee = 1.5 * bright - 0.5
        t = np.clip((e1 - knee) / max(1 - knee, 1e-12), 0, 1)
        hermite = (
            (2 * t**3 - 3 * t**2 + 1) * knee
            + (t**3 - 2 * t**2 + t) * (1 - knee)
            + (-2 * t**3 + 3 * t**2) * bright
        )
        e2 = np.where(e1 < knee, e1, hermite)
        e3 = e2 + max(dark, 0.0) * (1 - e2) ** 4
        return np.asarray(pq_luminance(e3 * span + low) / REFERENCE_WHITE)

    def inverse(self) -> Transform:
        raise NotInvertibleError(
            f"{self!r} flattens at the target peak and has no inverse in closed form"
        )


# Academy Reference Gamut Compression 1.3 (ACES): distances of cyan, magenta and
# yellow that land on the gamut's edge, where compression starts, and its power.
ACADEMY_THRESHOLDS = (0.815, 0.803, 0.880)
ACADEMY_LIMITS = (1.147, 1.264, 1.312)
ACADEMY_POWER = 1.2


@dataclass(frozen=True)
class GamutCompression(Transform):
    """Distances from the neutral axis compressed so that colours out of gamut come inside.

    For each channel d = (max - value) / |max|; over its threshold t
    d' = t + s·n / (1 + n^p)^(1/p) with n = (d - t)/s, and s such that the limit
    comes to 1. Defaults: the open Academy reference gamut compression.
    """

    thresholds: tuple[float, float, float] = ACADEMY_THRESHOLDS
    limits: tuple[float, float, float] = ACADEMY_LIMITS
    power: float = ACADEMY_POWER
    kind: ClassVar[str] = "gamut_compression"

    def __post_init__(self) -> None:
        fits = all(0 <= t < 1 < c for t, c in zip(self.thresholds, self.limits, strict=True))
        if not fits or not self.power >= 1:
            raise DefinitionError(
                "the parameters are out of limits",
                where="gamut compression",
                accepted="0 <= threshold < 1 < limit in each channel, power >= 1",
            )

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
            # Compressed distances never reach t + s; those that do stay where they are.
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
