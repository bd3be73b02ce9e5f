"""PQ and HLG, and ICtCp of PQ.

Recommendation ITU-R BT.2100-2. Light 1.0 (a perfect white diffuser) is HDR
reference white of Report ITU-R BT.2408: 203 cd/m² on the display, 58 % PQ,
75 % HLG. Both BT.2100 curves are camera curves (of scene light), so they include
the reference rendering of the Recommendation; `PqDisplay` and `HlgSystemGamma`
are the display side only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from lutbench.model.curves.base import Curve, Decode, Weights, mirrored
from lutbench.model.gamuts import BT2020, Gamut, adaptation_matrix
from lutbench.model.light import (
    MOST_CD_M2,
    REFERENCE_SURROUND_CD_M2,
    REFERENCE_WHITE_CD_M2,
    Display,
    Light,
    Side,
    check_luminance,
)
from lutbench.model.transforms import Array, Transform

# SMPTE ST 2084, section 5
M1 = 2610 / 16384
M2 = 2523 / 4096 * 128
C1 = 3424 / 4096
C2 = 2413 / 4096 * 32
C3 = 2392 / 4096 * 32
PQ_PEAK = MOST_CD_M2
"""cd/m² of PQ signal 1."""

# HLG OETF: Recommendation ITU-R BT.2100-2, table 5
HLG_A = 0.17883277
HLG_B = 1 - 4 * HLG_A
HLG_C = 0.5 - HLG_A * float(np.log(4 * HLG_A))
HLG_WHITE_SIGNAL = 0.75
"""HLG signal of HDR reference white: Report ITU-R BT.2408, table 1."""


def pq_signal(luminance: Array) -> Array:
    """PQ signal of luminance in cd/m²; 0 and negative values give 0.

    >>> pq_signal(np.array([100.0, 203.0, 1000.0])).round(5).tolist()
    [0.50808, 0.58069, 0.75183]
    """
    y = (np.maximum(luminance, 0) / PQ_PEAK) ** M1
    return np.asarray(np.where(luminance <= 0, 0.0, ((C1 + C2 * y) / (1 + C3 * y)) ** M2))


def pq_luminance(signal: Array) -> Array:
    """Luminance in cd/m² of a PQ signal; negative signals give 0, those above 1.5 that of 1.5."""
    root = np.minimum(np.maximum(signal, 0), 1.5) ** (1 / M2)
    return np.asarray(PQ_PEAK * (np.maximum(root - C1, 0) / (C2 - C3 * root)) ** (1 / M1))


class HdrCurve(Curve):
    """A curve of Recommendation ITU-R BT.2100-2: PQ or HLG."""

    television: ClassVar[bool] = True
    shown: ClassVar[bool] = True
    hdr: ClassVar[bool] = True
    has_ootf: ClassVar[bool] = True
    takes_black: ClassVar[bool] = True


@dataclass(frozen=True)
class Pq(HdrCurve):
    """PQ, with light 1.0 at `white` cd/m²."""

    white: float = REFERENCE_WHITE_CD_M2

    def __post_init__(self) -> None:
        check_luminance(self.name, "white", self.white)

    @property
    def display_white(self) -> float | None:
        return self.white

    def brightest_signal(self, display: Display | None) -> float:
        return 1.0 if display is None else float(pq_signal(np.asarray(display.peak)))


@dataclass(frozen=True)
class PqDisplay(Pq):
    """The inverse EOTF of PQ: display light to signal, 1.0 at `white` cd/m²."""

    name: str = "ST 2084"
    scene_name: ClassVar[str] = "BT.2100 PQ"
    family: ClassVar[str] = "display"
    source: ClassVar[str] = "SMPTE ST 2084:2014; Recommendation ITU-R BT.2100-2, table 4"

    @property
    def kind_of_light(self) -> Light:
        return Light("display", white_words(self.white), self.white)

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform:
        return Decode(self if side == "display" else PqScene(white=self.white))

    def _encode(self, light: Array) -> Array:
        return mirrored(pq_signal, light * self.white)

    def _decode(self, signal: Array) -> Array:
        return mirrored(pq_luminance, signal) / self.white


@dataclass(frozen=True)
class PqScene(Pq):
    """The OETF of PQ: scene light through the reference OOTF, then the inverse EOTF.

    Scene light 1.0 becomes `white` cd/m². The reference OOTF is the BT.709 curve followed
    by a BT.1886 display, F_D = 100·(G709(59.5208·E))^2.4.

    >>> PqScene().encode([0.18, 0.9, 1.0]).round(2).tolist()  # Report ITU-R BT.2408, table 1
    [0.38, 0.57, 0.58]
    """

    name: str = "BT.2100 PQ"
    source: ClassVar[str] = "Recommendation ITU-R BT.2100-2, table 4; Report ITU-R BT.2408, table 1"
    note: ClassVar[str] = "light 1.0, HDR reference white, is at 58 % (with the reference OOTF)"

    LINEAR_END: ClassVar[float] = 0.0003024

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform:
        return Decode(self if side == "scene" else PqDisplay(white=self.white))

    @staticmethod
    def _ootf(e: Array) -> Array:
        end = PqScene.LINEAR_END
        video = 1.099 * (59.5208 * np.maximum(e, end)) ** 0.45 - 0.099
        return np.asarray(100 * np.where(e <= end, 267.84 * e, video) ** 2.4)

    @staticmethod
    def _ootf_inverse(luminance: Array) -> Array:
        # The two parts of the Recommendation's curve do not quite meet: signals between them
        # decode to the light of the break, so that the curve never falls.
        video = (luminance / 100) ** (1 / 2.4)
        end = PqScene.LINEAR_END
        above = 1.099 * (59.5208 * end) ** 0.45 - 0.099
        upper = ((np.maximum(video, above) + 0.099) / 1.099) ** (1 / 0.45) / 59.5208
        return np.asarray(np.where(video < above, np.minimum(video / 267.84, end), upper))

    @property
    def white_scale(self) -> float:
        """E of the Recommendation for scene light 1.0."""
        return float(self._ootf_inverse(np.asarray(self.white)))

    def _encode(self, light: Array) -> Array:
        return mirrored(lambda x: pq_signal(self._ootf(x * self.white_scale)), light)

    def _decode(self, signal: Array) -> Array:
        return mirrored(lambda x: self._ootf_inverse(pq_luminance(x)) / self.white_scale, signal)


def hlg_signal(e: Array) -> Array:
    """HLG signal of E in 0..1 (odd below zero).

    >>> hlg_signal(np.array([1 / 12, 0.265, 1.0])).round(5).tolist()
    [0.5, 0.75003, 1.0]
    """

    def positive(x: Array) -> Array:
        upper = HLG_A * np.log(np.maximum(12 * x, 1) - HLG_B) + HLG_C
        return np.where(x <= 1 / 12, np.sqrt(3 * x), upper)

    return mirrored(positive, e)


def hlg_light(signal: Array) -> Array:
    """E of an HLG signal: the inverse OETF (odd below zero)."""

    def positive(x: Array) -> Array:
        # Limited far above any signal, so that the exponential stays finite.
        power = np.exp((np.minimum(x, 100.0) - HLG_C) / HLG_A)
        return np.where(x <= 0.5, x**2 / 3, (power + HLG_B) / 12)

    return mirrored(positive, signal)


@dataclass(frozen=True)
class HlgScene(HdrCurve):
    """The OETF of HLG, scene light 1.0 at 75 %.

    >>> HlgScene().encode([0.18, 0.9, 1.0]).round(2).tolist()  # Report ITU-R BT.2408, table 1
    [0.38, 0.73, 0.75]
    """

    name: str = "BT.2100 HLG"
    source: ClassVar[str] = "Recommendation ITU-R BT.2100-2, table 5; Report ITU-R BT.2408, table 1"
    note: ClassVar[str] = "light 1.0, HDR reference white, is at 75 %"

    WHITE_SCALE: ClassVar[float] = float(hlg_light(np.asarray(HLG_WHITE_SIGNAL)))

    @property
    def display_white(self) -> float | None:
        return REFERENCE_WHITE_CD_M2

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform | None:
        if side == "scene":
            return Decode(self)
        return None if display is None else HlgDisplayLight(display, weights)

    def _encode(self, light: Array) -> Array:
        return hlg_signal(light * self.WHITE_SCALE)

    def _decode(self, signal: Array) -> Array:
        return hlg_light(signal) / self.WHITE_SCALE


def white_words(luminance: float) -> str:
    """The name for a white of that luminance in cd/m²."""
    return "HDR reference white" if luminance == REFERENCE_WHITE_CD_M2 else "diffuse white"


def hlg_system_gamma(peak: float, surround: float = REFERENCE_SURROUND_CD_M2) -> float:
    """The system gamma of HLG for a display of `peak` cd/m² in a surround, cd/m².

    Recommendation ITU-R BT.2100-2, table 5, note 5e: 1.2 + 0.42·log10(L_W / 1000)
    from 400 to 2000 cd/m²; note 5f: 1.2·1.111^log2(L_W / 1000) outside. Report
    ITU-R BT.2390-8, 6.2: times 0.98^log2(surround / 5).

    >>> hlg_system_gamma(1000.0), round(hlg_system_gamma(1000.0, 20.0), 4)
    (1.2, 1.1525)
    """
    around = float(0.98 ** np.log2(surround / REFERENCE_SURROUND_CD_M2))
    if 400 <= peak <= 2000:
        return (1.2 + 0.42 * float(np.log10(peak / 1000))) * around
    return float(1.2 * 1.111 ** np.log2(peak / 1000)) * around


@dataclass(frozen=True)
class HlgSystemGamma(Transform):
    """The OOTF of HLG: scene light (1.0 at 75 %) to display light (1.0 = 203 cd/m²).

    F_D = L_W·Y_S^(γ-1)·E with Y_S the scene luminance, so each channel depends on all
    three. `weights` are the luminance weights of the signal's gamut (in BT.2100: those of
    BT.2020); `peak` and `surround` are in cd/m².
    """

    peak: float = 1000.0
    weights: Weights = (0.2627, 0.6780, 0.0593)
    surround: float = REFERENCE_SURROUND_CD_M2
    kind: ClassVar[str] = "hlg_system_gamma"

    def __post_init__(self) -> None:
        check_luminance("HLG", "peak", self.peak)

    def _apply(self, rgb: Array) -> Array:
        e = rgb * HlgScene.WHITE_SCALE
        luminance = np.maximum(e @ np.array(self.weights), 1e-12)[..., None]
        gain = self.peak * luminance ** (hlg_system_gamma(self.peak, self.surround) - 1)
        return np.asarray(gain * e / REFERENCE_WHITE_CD_M2)

    def inverse(self) -> HlgDisplayToScene:
        return HlgDisplayToScene(self.peak, self.weights, self.surround)


@dataclass(frozen=True)
class HlgDisplayToScene(Transform):
    """The inverse OOTF of HLG: display light (1.0 = 203 cd/m²) to scene light (1.0 at 75 %)."""

    peak: float = 1000.0
    weights: Weights = (0.2627, 0.6780, 0.0593)
    surround: float = REFERENCE_SURROUND_CD_M2
    kind: ClassVar[str] = "hlg_display_to_scene"

    def __post_init__(self) -> None:
        check_luminance("HLG", "peak", self.peak)

    def _apply(self, rgb: Array) -> Array:
        display = rgb * REFERENCE_WHITE_CD_M2 / self.peak
        gamma = hlg_system_gamma(self.peak, self.surround)
        luminance = np.maximum(display @ np.array(self.weights), 1e-12**gamma)[..., None]
        return np.asarray(luminance ** (1 / gamma - 1) * display / HlgScene.WHITE_SCALE)

    def inverse(self) -> HlgSystemGamma:
        return HlgSystemGamma(self.peak, self.weights, self.surround)


@dataclass(frozen=True)
class HlgDisplayLight(Transform):
    """The EOTF of HLG: signal to the light of a named display (1.0 = 203 cd/m²).

    F_D = OOTF[OETF⁻¹[max(0, (1 - β)·E' + β)]] with the black lift
    β = sqrt(3·(L_B / L_W)^(1/γ)): Recommendation ITU-R BT.2100-2, table 5.
    """

    display: Display = field(default_factory=Display)
    weights: Weights = (0.2627, 0.6780, 0.0593)
    kind: ClassVar[str] = "hlg_display_light"

    @property
    def ootf(self) -> HlgSystemGamma:
        """Scene light to the light of this display."""
        return HlgSystemGamma(self.display.peak, self.weights, self.display.surround)

    @property
    def lift(self) -> float:
        """β of the Recommendation."""
        gamma = hlg_system_gamma(self.display.peak, self.display.surround)
        return float(np.sqrt(3 * (self.display.black / self.display.peak) ** (1 / gamma)))

    def _apply(self, rgb: Array) -> Array:
        # Without a black level the curve continues below zero, so that it has an inverse there.
        lifted = np.maximum((1 - self.lift) * rgb + self.lift, 0) if self.lift else rgb
        return self.ootf.apply(HlgScene().decode(lifted))

    def inverse(self) -> HlgSignalOfLight:
        return HlgSignalOfLight(self)


@dataclass(frozen=True)
class HlgSignalOfLight(Transform):
    """The inverse EOTF of HLG: the light of a named display (1.0 = 203 cd/m²) to signal."""

    eotf: HlgDisplayLight
    kind: ClassVar[str] = "hlg_signal_of_light"

    def _apply(self, rgb: Array) -> Array:
        lifted = HlgScene().encode(self.eotf.ootf.inverse().apply(rgb))
        return np.asarray((lifted - self.eotf.lift) / (1 - self.eotf.lift))

    def inverse(self) -> HlgDisplayLight:
        return self.eotf


CURVES = (PqScene(), PqDisplay(), HlgScene())
"""The curves of this file that are in the catalogue."""


LMS_FROM_BT2020 = np.array([[1688, 2146, 262], [683, 2951, 462], [99, 309, 3688]]) / 4096
ICTCP_FROM_LMS = np.array([[2048, 2048, 0], [6610, -13613, 7003], [17933, -17390, -543]]) / 4096
_LMS_FROM_ICTCP = np.linalg.inv(ICTCP_FROM_LMS)


def bt2020_matrix(gamut: Gamut) -> Array:
    """The matrix from linear R, G, B of a gamut to BT.2020, white to white, shape (3, 3)."""
    if gamut.primaries == BT2020.primaries and gamut.white == BT2020.white:
        return np.eye(3)
    adapt = adaptation_matrix(gamut.white, BT2020.white)
    return np.asarray(np.linalg.solve(BT2020.to_xyz, adapt @ gamut.to_xyz))


def ictcp_from_bt2020(rgb: Array) -> Array:
    """I, Ct, Cp of display light in BT.2020, in cd/m², shape (..., 3); negative cones give 0.

    >>> ictcp_from_bt2020(np.array([100.0, 100.0, 100.0])).round(4).tolist()
    [0.5081, 0.0, 0.0]
    """
    return np.asarray(pq_signal(rgb @ LMS_FROM_BT2020.T) @ ICTCP_FROM_LMS.T)


def bt2020_from_ictcp(ictcp: Array) -> Array:
    """Display light in BT.2020, in cd/m²: the inverse of `ictcp_from_bt2020`."""
    lms = pq_luminance(ictcp @ _LMS_FROM_ICTCP.T)
    return np.asarray(lms @ np.linalg.inv(LMS_FROM_BT2020).T)
