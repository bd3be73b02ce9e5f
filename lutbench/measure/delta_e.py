"""Colour differences: ΔE 2000 for pictures on a standard-range display, ΔE ITP for HDR.

ΔE 2000: CIE 142-2001 and ISO/CIE 11664-6; Sharma, Wu and Dalal, "The CIEDE2000
color-difference formula: implementation notes", Color Research and Application 30 (2005).
ΔE ITP: Recommendation ITU-R BT.2124-0, over ICtCp of Recommendation ITU-R BT.2100-2.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from lutbench.model.gamuts import BT2020
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

ITP_SCALE = 720.0
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
    return np.asarray(ITP_SCALE * np.sqrt((difference**2).sum(axis=-1)))


def size_word(difference: float) -> SizeWord:
    """The word for a difference in ΔE 2000 or ΔE ITP.

    >>> [size_word(each) for each in (0.4, 2.0, 5.0, 30.0)]
    ['invisible', 'just visible', 'clearly visible', 'another picture']
    """
    return next((word for bound, word in BOUNDS if difference < bound), BEYOND)
