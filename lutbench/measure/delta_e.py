"""How a signal is seen, and how far apart two colours look.

ΔE 2000, for pictures on a standard-range display: CIE 142-2001 and ISO/CIE 11664-6; Sharma, Wu and
Dalal, "The CIEDE2000 color-difference formula: implementation notes", Color Research and
Application 30 (2005). ΔE ITP, for HDR: Recommendation ITU-R BT.2124-0, over ICtCp of Recommendation
ITU-R BT.2100-2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from lutbench.model.curves.base import Curve
from lutbench.model.curves.video import Bt1886, Srgb
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709, BT2020, conversion
from lutbench.model.light import REFERENCE_WHITE_CD_M2, Display
from lutbench.model.signal import SignalFromRange
from lutbench.model.transforms import Array

DeltaE = Literal["delta_e_2000", "delta_e_itp"]
DELTA_E_NAMES: dict[str, str] = {"delta_e_2000": "ΔE 2000", "delta_e_itp": "ΔE ITP"}
"""The two measures of difference, and their names in reports."""

LAB_EPSILON = (6 / 29) ** 3
"""Ratio to white below which L*a*b* is linear (CIE 15:2018, 8.2.1)."""

LAB_SLOPE = (29 / 6) ** 2 / 3
"""Slope of the linear part (CIE 15:2018, 8.2.1)."""

ITP_FROM_ICTCP = np.array([1.0, 0.5, 1.0])
"""T is half of Ct (Recommendation ITU-R BT.2124-0, annex 1)."""

DELTA_E_PER_ITP = 720.0
"""ΔE ITP per unit of I T P, so that 1 is just noticeable (Recommendation ITU-R BT.2124-0)."""

SizeWord = Literal["invisible", "just visible", "clearly visible", "another picture"]

BOUNDS: tuple[tuple[float, SizeWord], ...] = (
    *((1.0, "invisible"), (3.0, "just visible"), (10.0, "clearly visible")),
)
"""Upper bounds in ΔE. One is a just noticeable difference: of ΔE ITP by Recommendation ITU-R
BT.2124, of ΔE 2000 by common practice. The others are common practice: most people see three side
by side, and ten at a glance without a comparison."""

CLEARLY_FROM = BOUNDS[1][0]
"""ΔE from which a difference is clearly visible."""

BEYOND: SizeWord = "another picture"
"""The word for larger differences."""


def lab_from_xyz(xyz: ArrayLike, white: ArrayLike) -> Array:
    """CIE L*a*b* of XYZ, shape (..., 3); `white` is the XYZ of L* = 100.

    Source: CIE 15:2018, 8.2.1. The linear part near black is continued below zero.

    >>> lab_from_xyz([0.18, 0.18, 0.18], [1, 1, 1]).round(3).tolist()
    [49.496, 0.0, 0.0]
    """
    ratio = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    straight = LAB_SLOPE * ratio + 4 / 29
    f = np.where(ratio > LAB_EPSILON, np.cbrt(np.maximum(ratio, LAB_EPSILON)), straight)
    fx, fy, fz = np.moveaxis(f, -1, 0)
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def delta_e_2000(lab_a: ArrayLike, lab_b: ArrayLike) -> Array:
    """ΔE 2000 of two L*a*b* colours, shape (..., 3) to (...), all weights 1.

    >>> float(delta_e_2000([50, 2.6772, -79.7751], [50, 0, -82.7485]).round(4))  # Sharma, pair 1
    2.0425
    """
    l1, a1, b1 = np.moveaxis(np.asarray(lab_a, dtype=np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(lab_b, dtype=np.float64), -1, 0)
    chroma7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(chroma7 / (chroma7 + 25.0**7))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360

    grey = c1 * c2 == 0
    turn = h2 - h1
    # Opposite hues stay opposite under rounding (pairs 13 to 15 of Sharma et al.).
    half = 180 + 1e-9
    turn = np.where(turn > half, turn - 360, np.where(turn < -half, turn + 360, turn))
    d_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(np.where(grey, 0, turn)) / 2)
    d_light, d_chroma = l2 - l1, c2 - c1

    # The mean hue lies on the shorter arc; a colour without hue takes the other's.
    total = h1 + h2
    far = np.abs(h1 - h2) > half
    hue = np.where(far, np.where(total < 360, total + 360, total - 360), total) / 2
    hue = np.where(grey, total, hue)
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2

    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_light = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    s_chroma = 1 + 0.045 * chroma
    s_hue = 1 + 0.015 * chroma * t
    rotation = 2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    rotation *= -np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    x, y, z = d_light / s_light, d_chroma / s_chroma, d_hue / s_hue
    # Rounding may make a difference of zero slightly negative.
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + rotation * y * z, 0)))


def itp_from_xyz(xyz: ArrayLike) -> Array:
    """I, T, P of absolute XYZ (Y in cd/m²), shape (..., 3); negative light counts as zero.

    Source: Recommendation ITU-R BT.2124-0, annex 1.
    """
    from lutbench.model.curves.hdr import ictcp_from_bt2020

    rgb = np.asarray(xyz, dtype=np.float64) @ np.linalg.inv(BT2020.to_xyz).T
    return np.asarray(ictcp_from_bt2020(rgb) * ITP_FROM_ICTCP)


def delta_e_itp(itp_a: ArrayLike, itp_b: ArrayLike) -> Array:
    """ΔE ITP of two I T P colours, shape (..., 3) to (...): 720·√(ΔI² + ΔT² + ΔP²).

    >>> float(delta_e_itp([0.5, 0, 0], [0.5, 0, 1 / 720]).round(9))
    1.0
    """
    difference = np.asarray(itp_a, dtype=np.float64) - np.asarray(itp_b, dtype=np.float64)
    return np.asarray(DELTA_E_PER_ITP * np.sqrt((difference**2).sum(axis=-1)))


def size_word(difference: float) -> SizeWord:
    """The word for a difference in ΔE 2000 or ΔE ITP.

    >>> [size_word(each) for each in (0.4, 2.0, 5.0, 30.0)]
    ['invisible', 'just visible', 'clearly visible', 'another picture']
    """
    return next((word for bound, word in BOUNDS if difference < bound), BEYOND)


SDR_WHITE_CD_M2 = 100.0
"""cd/m² of white on a standard-range reference display: Recommendation ITU-R BT.2035-0."""

MOST_LIGHT = 1e30
"""Times white: for more light the seventh power of a chroma (CIE 142-2001) overflows float64."""

HLG_PEAK_CD_M2 = 1000.0
"""cd/m² of the nominal HLG display: Recommendation ITU-R BT.2100-2, table 5."""


@dataclass(frozen=True)
class View:
    """How values are seen: on a display, or of a log or linear signal as light of the scene."""

    encoding: Encoding
    """How values become light, 1.0 at white: the curve of the display (not of the camera), its
    primaries and white, the signal range."""
    white_luminance: float = SDR_WHITE_CD_M2
    """cd/m² of light 1.0, for absolute measures."""
    hdr: bool = False
    """Whether ΔE ITP is the measure that counts, instead of ΔE 2000, which is not made for light
    far above white."""
    shows_light: bool = True
    """True for a display, which shows no negative light; False for the scene, where negative values
    are kept."""
    description: str = ""
    """The view in words."""

    @property
    def measure(self) -> DeltaE:
        """The measure that counts: ``delta_e_itp`` for HDR, else ``delta_e_2000``."""
        return "delta_e_itp" if self.hdr else "delta_e_2000"

    @property
    def white_xyz(self) -> Array:
        """XYZ of light 1.0, Y = 1."""
        return np.asarray(self.encoding.gamut.to_xyz.sum(axis=1))

    def light(self, values: Array) -> Array:
        """Linear R G B, 1.0 at white, of full-scale values, shape (..., 3)."""
        seen = self.encoding
        signal = np.asarray(values, dtype=np.float64)
        if seen.range == "legal":
            signal = SignalFromRange("legal", seen.bits).apply(signal)
        light = seen.to_light().apply(signal)
        return np.maximum(light, 0) if self.shows_light else light

    def xyz(self, values: Array) -> Array:
        """XYZ, Y = 1 at white, of full-scale values, shape (..., 3), up to `MOST_LIGHT`."""
        xyz = self.light(values) @ self.encoding.gamut.to_xyz.T
        # Far outside 0..1 a curve may decode to any amount of light; no display shows it.
        return np.clip(xyz, -MOST_LIGHT, MOST_LIGHT)

    def delta_e_2000(self, xyz_a: Array, xyz_b: Array) -> Array:
        """ΔE 2000 of colours as `xyz` gives them, shape (..., 3) to (...)."""
        return delta_e_2000(*(lab_from_xyz(each, self.white_xyz) for each in (xyz_a, xyz_b)))

    def delta_e_itp(self, xyz_a: Array, xyz_b: Array) -> Array:
        """ΔE ITP of colours as `xyz` gives them, shape (..., 3) to (...)."""
        return delta_e_itp(*(itp_from_xyz(each * self.white_luminance) for each in (xyz_a, xyz_b)))

    def differences(self, a: Array, b: Array) -> Array:
        """How far apart full-scale values, shape (..., 3), look, in the measure that counts."""
        compare = self.delta_e_itp if self.hdr else self.delta_e_2000
        return compare(self.xyz(a), self.xyz(b))

    def swatch(self, values: Array) -> str:
        """One colour, shape (3,), as sRGB ``#rrggbb``, white-adapted and clipped to sRGB.

        >>> from lutbench.model.curves.video import Srgb
        >>> from lutbench.model.gamuts import BT709
        >>> view_of(Encoding(Srgb(), BT709)).swatch(np.array([1.0, 0.5, 0.0]))
        '#ff8000'
        """
        to_srgb = conversion(self.encoding.gamut, BT709)
        signal = np.clip(Srgb().encode(to_srgb.apply(self.light(values))), 0, 1)
        return "#" + "".join(f"{code:02x}" for code in np.rint(255 * signal).astype(int).tolist())


def view_of(target: Encoding) -> View:
    """How a signal encoded as `target` is seen.

    - PQ and HLG: on an HDR display, in absolute luminance (HLG: on the display that is named,
      by default the nominal one of 1000 cd/m²).
    - A camera curve of television (BT.709, BT.2020): on a BT.1886 display with
      black 0 and white 100 cd/m², not through the inverse of the camera curve.
    - A display curve (sRGB, gamma): on its own display, by default with white at 100 cd/m².
    - Log and linear: as the scene light that they stand for, 1.0 at 203 cd/m². Such a signal
      is not meant for viewing; the measure then tells how much the light differs.

    >>> from lutbench.model.curves.video import Bt709
    >>> from lutbench.model.gamuts import BT709
    >>> view_of(Encoding(Bt709(), BT709)).description
    'a BT.1886 display'
    """
    curve = target.curve
    if curve.hdr:
        return _hdr_view(target)
    if curve.family in ("log", "linear"):
        return View(
            target,
            REFERENCE_WHITE_CD_M2,
            hdr=True,
            shows_light=False,
            description=f"scene light, decoded from {curve.name}",
        )
    white = target.white_luminance or SDR_WHITE_CD_M2
    if curve.family == "camera":
        return View(_seen(target, Bt1886()), white, description="a BT.1886 display")
    return View(target, white, description=f"a {curve.name} display")


def _hdr_view(target: Encoding) -> View:
    from lutbench.model.curves.hdr import PqDisplay, PqScene

    curve = target.curve
    if isinstance(curve, PqScene | PqDisplay):
        shown = PqDisplay(white=curve.white)
        return View(_seen(target, shown), shown.white, hdr=True, description="a PQ display")
    display = target.display or Display(HLG_PEAK_CD_M2)
    return View(
        replace(target, display=display),
        REFERENCE_WHITE_CD_M2,
        hdr=True,
        description=f"an HLG display of {display}",
    )


def _seen(target: Encoding, display: Curve) -> Encoding:
    return replace(target, curve=display)
