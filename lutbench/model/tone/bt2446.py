"""HDR to SDR and back: methods A and C of Report ITU-R BT.2446-1.

The constants are from memory of the Report; the tests derive the formulas a second time and
compare them with its known anchor points. Method B is not included, since its formulas were
not available.

Both work on display light of BT.2020 primaries, in cd/m².
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import mirrored
from lutbench.model.gamuts import BT2020, Gamut, conversion
from lutbench.model.light import Side
from lutbench.model.parameter import bounded, hold_to_limits
from lutbench.model.tone import ToneInverse, ToneMapper
from lutbench.model.transforms import Array, Pipeline, Transform

WEIGHTS = np.array([0.2627, 0.6780, 0.0593])
"""Weights of luma and luminance in BT.2020: Recommendation ITU-R BT.2020-2, table 4."""

CR_SCALE = 1.4746
"""Divisor of C'R: Recommendation ITU-R BT.2020-2, table 4."""

GAMMA = 2.4
"""Gamma of the signals that the methods work on: Report ITU-R BT.2446-1."""

# Method A, tone mapping step 2: pieces of the knee function
A_JOINTS = (0.7399, 0.9909)
A_LINE = 1.0770
A_BEND = (-1.1510, 2.7811, -0.6302)
A_TOP = (0.5, 0.5)
A_CHROMA = 1.1
A_RED = 0.1

# Method A, inverse tone mapping: the power by luma on a scale of 255
A_UP_SCALE = 255.0
A_UP_JOINT = 70.0
A_UP_TOP = 1000.0
A_UP_LOW = (1.8712e-5, -2.7334e-3, 1.3141)
A_UP_HIGH = (2.8305e-6, -7.4622e-4, 1.2528)
A_UP_CHROMA = 1.075

# Method C: a line up to 58.5 %, a logarithm above
C_SLOPE = 0.83802
C_LOG = 15.09968
C_SHIFT = 0.74204
C_LIFT = 78.99439
C_JOINT = 58.5 / C_SLOPE
C_SDR_PEAK = 100.0


class _OfBt2020(ToneMapper):
    """A mapper that works on display light in BT.2020, for conversions of any gamut."""

    side: ClassVar[Side | None] = "display"

    @property
    def per_channel(self) -> bool:
        return False

    def within(self, gamut: Gamut) -> Transform:
        if gamut.same_as(BT2020):
            return self
        return Pipeline((conversion(gamut, BT2020), self, conversion(BT2020, gamut)))


def _check(where: str, source: float, target: float) -> None:
    if not 1 <= target <= source <= 10000:
        raise DefinitionError(
            f"a target peak of {target:g} for a source of {source:g} cd/m²",
            where=where,
            accepted="1 <= target peak <= source peak <= 10000",
        )


@dataclass(frozen=True)
class Bt2446A(_OfBt2020):
    """HDR to SDR: method A, tone mapping on luma with a knee in a perceptual scale.

    With gamma-2.4 signals R' = (R/source_peak)^(1/2.4), their luma Y', and
    ρ(L) = 1 + 32·(L/10000)^(1/2.4):

    - Y'p = ln(1 + (ρ(source) - 1)·Y') / ln ρ(source);
    - Y'c: 1.077·Y'p up to 0.7399, then -1.151·Y'p² + 2.7811·Y'p - 0.6302, from 0.9909
      0.5·Y'p + 0.5;
    - Y'sdr = (ρ(target)^Y'c - 1) / (ρ(target) - 1);
    - colour differences are multiplied by Y'sdr / (1.1·Y'), and luma is reduced by 0.1·Cr
      where Cr is positive.

    At the first joint the Report's two pieces differ by 0.0006; the lower one is used, so
    that there is no step.

    Parameters
    ----------
    source_peak, target_peak
        Peaks of the displays, 1 to 10000 cd/m²; that of the target is not higher.

    >>> light = Bt2446A().apply([[203.0] * 3, [26.0] * 3, [1000.0] * 3])
    >>> (100 * (light[:, 0] / 100) ** (1 / 2.4)).round(1).tolist()  # percent of SDR signal
    [68.7, 33.5, 100.0]
    """

    source_peak: float = bounded(1000.0, 1, 10000, "cd/m²")
    target_peak: float = bounded(100.0, 1, 10000, "cd/m²")
    kind: ClassVar[str] = "bt2446_a"
    method: ClassVar[str] = "bt2446-a"
    says: ClassVar[str] = "HDR to SDR by a knee on luma (BT.2446, method A)"

    @property
    def target_white(self) -> float:
        """White of a standard-range display is its peak."""
        return self.target_peak

    def __post_init__(self) -> None:
        hold_to_limits(self, "BT.2446 A")
        _check("BT.2446 A", self.source_peak, self.target_peak)

    def _apply(self, rgb: Array) -> Array:
        signal = _signal(rgb / self.source_peak)
        luma = signal @ WEIGHTS
        sdr = self._tone(luma)
        gain = self._chroma_gain(luma, sdr)
        difference = gain[..., None] * (signal - luma[..., None])
        lowered = sdr - np.maximum(A_RED * difference[..., 0] / CR_SCALE, 0)
        return self.target_peak * _light(lowered[..., None] + difference)

    def _tone(self, luma: Array) -> Array:
        before, after = _rho(self.source_peak), _rho(self.target_peak)
        p = np.log1p((before - 1) * np.maximum(luma, 0)) / np.log(before)
        return np.asarray(np.expm1(_knee(p) * np.log(after)) / (after - 1))

    def _tone_back(self, sdr: Array) -> Array:
        before, after = _rho(self.source_peak), _rho(self.target_peak)
        c = np.log1p((after - 1) * np.maximum(sdr, 0)) / np.log(after)
        return np.asarray(np.expm1(_knee_back(c) * np.log(before)) / (before - 1))

    @staticmethod
    def _chroma_gain(luma: Array, sdr: Array) -> Array:
        return np.where(luma > 0, sdr / (A_CHROMA * np.where(luma > 0, luma, 1.0)), 0.0)

    def curve_back(self, rgb: Array) -> Array:
        signal = _signal(rgb / self.target_peak)
        lowered = signal @ WEIGHTS
        difference = signal - lowered[..., None]
        sdr = lowered + np.maximum(A_RED * difference[..., 0] / CR_SCALE, 0)
        luma = self._tone_back(sdr)
        gain = self._chroma_gain(luma, sdr)[..., None]
        back = luma[..., None] + difference / np.where(gain > 0, gain, np.inf)
        return self.source_peak * _light(back)

    def inverse(self) -> ToneInverse:
        return ToneInverse(self)


@dataclass(frozen=True)
class Bt2446AUp(_OfBt2020):
    """SDR of 100 cd/m² to HDR of 1000 cd/m²: the inverse tone mapping of method A.

    Luma Y'' on a scale of 255 becomes Y''^E with E = 1.8712e-5·Y''² - 2.7334e-3·Y'' + 1.3141
    up to 70, 2.8305e-6·Y''² - 7.4622e-4·Y'' + 1.2528 above; 255 becomes 1000. Colour
    differences are scaled as luma is, times 1.075. It is not the exact inverse of `Bt2446A`.

    >>> Bt2446AUp().apply([100.0, 100.0, 100.0]).round(0).tolist()
    [1000.0, 1000.0, 1000.0]
    """

    kind: ClassVar[str] = "bt2446_a_up"
    method: ClassVar[str] = "bt2446-a-up"
    says: ClassVar[str] = "SDR of 100 to HDR of 1000 cd/m² (BT.2446, method A)"

    @property
    def source_white(self) -> float:
        """cd/m² of an SDR white that is not defined."""
        return C_SDR_PEAK

    def _apply(self, rgb: Array) -> Array:
        signal = _signal(rgb / C_SDR_PEAK)
        luma = signal @ WEIGHTS
        raised = _raised(A_UP_SCALE * luma) / A_UP_TOP
        gain = np.where(luma > 0, A_UP_CHROMA * raised / np.where(luma > 0, luma, 1.0), 1.0)
        lifted = raised[..., None] + gain[..., None] * (signal - luma[..., None])
        return A_UP_TOP * _light(lifted)


@dataclass(frozen=True)
class Bt2446C(_OfBt2020):
    """HDR of 1000 cd/m² to SDR: method C, tone mapping on luminance; and back.

    Luminance Y of the light after a crosstalk matrix (1 - 2α on its diagonal, α elsewhere):
    0.83802·Y up to 58.5 % of SDR, above 15.09968·ln(Y/69.81 - 0.74204) + 78.99439. All three
    channels are multiplied by the gain of Y, which keeps chromaticity (so the matrix and its
    inverse only change the weights of Y). 203 cd/m² become 91 % of SDR light, 1000 become
    118 %: light above 100 % is for the headroom of legal range, or is clipped.

    The Report's two pieces differ by 0.03 % at the joint; the lower one is used.

    Parameters
    ----------
    crosstalk
        α, 0 to 0.33.
    target_peak
        cd/m² of SDR's 100 %.

    >>> Bt2446C().apply([203.0, 203.0, 203.0]).round(1).tolist()
    [90.7, 90.7, 90.7]
    """

    crosstalk: float = bounded(0.04, 0, 0.33)
    target_peak: float = bounded(C_SDR_PEAK, 1, 10000, "cd/m²")
    kind: ClassVar[str] = "bt2446_c"
    method: ClassVar[str] = "bt2446-c"
    says: ClassVar[str] = "HDR of 1000 cd/m² to SDR, skin and white kept (BT.2446, method C)"

    def __post_init__(self) -> None:
        hold_to_limits(self, "BT.2446 C")

    @property
    def target_white(self) -> float:
        """cd/m² of an SDR white that is not defined."""
        return self.target_peak

    @property
    def _weights(self) -> Array:
        mixed = self.crosstalk + (1 - 3 * self.crosstalk) * np.eye(3)
        return np.asarray(WEIGHTS @ mixed)

    def _apply(self, rgb: Array) -> Array:
        luminance = rgb @ self._weights
        line = C_SLOPE * luminance
        bent = C_LOG * np.log(np.maximum(luminance / C_JOINT - C_SHIFT, 1e-9)) + C_LIFT
        mapped = np.where(luminance < C_JOINT, line, np.minimum(line, bent))
        gain = np.where(luminance > 0, mapped / np.where(luminance > 0, luminance, 1.0), C_SLOPE)
        return np.asarray(rgb * gain[..., None] * self.target_peak / C_SDR_PEAK)

    def curve_back(self, rgb: Array) -> Array:
        percent = rgb * C_SDR_PEAK / self.target_peak
        mapped = percent @ self._weights
        line = mapped / C_SLOPE
        bent = C_JOINT * (np.exp((np.minimum(mapped, 1000.0) - C_LIFT) / C_LOG) + C_SHIFT)
        luminance = np.where(line < C_JOINT, line, np.maximum(line, bent))
        gain = np.where(mapped > 0, luminance / np.where(mapped > 0, mapped, 1.0), 1 / C_SLOPE)
        return np.asarray(percent * gain[..., None])

    def inverse(self) -> ToneInverse:
        return ToneInverse(self)


def _signal(light: Array) -> Array:
    return mirrored(lambda x: x ** (1 / GAMMA), light)


def _light(signal: Array) -> Array:
    return mirrored(lambda x: x**GAMMA, signal)


def _rho(peak: float) -> float:
    return float(1 + 32 * (peak / 10000) ** (1 / GAMMA))


def _knee(p: Array) -> Array:
    low, high = A_JOINTS
    a, b, c = A_BEND
    line, bend = A_LINE * p, (a * p + b) * p + c
    upper = np.where(p < high, np.minimum(line, bend), A_TOP[0] * p + A_TOP[1])
    return np.where(p <= low, line, upper)


def _knee_back(value: Array) -> Array:
    """The inverse of `_knee`: the inverse of each piece, in the range of that piece."""
    low, high = A_JOINTS
    a, b, c = A_BEND
    line = value / A_LINE
    root = np.sqrt(np.maximum(b * b - 4 * a * (c - value), 0))
    bend = np.clip((-b + root) / (2 * a), low, high)
    top = (value - A_TOP[1]) / A_TOP[0]
    upper = np.where(top > high, top, np.maximum(bend, np.minimum(line, high)))
    return np.where(line <= low, line, upper)


def _raised(luma: Array) -> Array:
    """Y''^E of the inverse tone mapping of method A."""
    luma = np.maximum(luma, 0)
    powers = [(a * luma + b) * luma + c for a, b, c in (A_UP_LOW, A_UP_HIGH)]
    return np.asarray(luma ** np.where(luma <= A_UP_JOINT, powers[0], powers[1]))
