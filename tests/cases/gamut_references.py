"""Other ways to bring colours into a gamut with their hue kept, by colour-science: references.

Constant lightness and hue, chroma reduced until the colour fits, found by halving:

- in CIELAB: one of the ways that Report ITU-R BT.2407 describes (from memory of the Report);
- in CAM16 (Li et al., 2017), the colour appearance model, at constant J and h.
"""

from __future__ import annotations

from collections.abc import Callable

import colour
import numpy as np
from numpy.typing import NDArray

from lutbench.model.gamuts import BT2020, Gamut

Array = NDArray[np.float64]

WHITE = BT2020.to_xyz.sum(axis=1)
HALVINGS = 24
VIEWED = {"L_A": 40.0, "Y_b": 20.0}
"""A display in an average surround: CIE 159:2004, as for CIECAM02 (common practice)."""


def cam16(xyz: Array) -> Array:
    """J, C, h of XYZ with white at 1, shape (n, 3)."""
    found = colour.XYZ_to_CAM16(100 * xyz, 100 * WHITE, **VIEWED)
    return np.stack([found.J, found.C, found.h], axis=-1)


def xyz_of_cam16(jch: Array) -> Array:
    """XYZ with white at 1 of J, C, h."""
    given = colour.CAM_Specification_CAM16(J=jch[:, 0], C=jch[:, 1], h=jch[:, 2])
    return np.asarray(colour.CAM16_to_XYZ(given, 100 * WHITE, **VIEWED)) / 100


def lch(xyz: Array) -> Array:
    """L*, C*, h of CIELAB, shape (n, 3)."""
    lab = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(WHITE))
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    return np.stack([lab[:, 0], np.hypot(lab[:, 1], lab[:, 2]), hue], axis=-1)


def xyz_of_lch(polar: Array) -> Array:
    """XYZ of L*, C*, h."""
    angle = np.radians(polar[:, 2])
    lab = np.stack([polar[:, 0], polar[:, 1] * np.cos(angle), polar[:, 1] * np.sin(angle)], -1)
    return np.asarray(colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(WHITE)))


def reduced(
    xyz: Array, target: Gamut, there: Callable[[Array], Array], back: Callable[[Array], Array]
) -> Array:
    """Linear R G B of `target` with chroma reduced until each colour fits."""
    polar = there(xyz)
    to_rgb = np.linalg.inv(target.to_xyz)

    def rgb_at(share: Array) -> Array:
        moved = polar.copy()
        moved[:, 1] *= share
        return np.asarray(back(moved) @ to_rgb.T)

    low, high = np.zeros(len(xyz)), np.ones(len(xyz))
    whole = rgb_at(high)
    fits = ((whole >= -1e-9) & (whole <= 1 + 1e-9)).all(axis=1)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        rgb = rgb_at(middle)
        inside = ((rgb >= 0) & (rgb <= 1)).all(axis=1)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return np.clip(rgb_at(np.where(fits, 1.0, low)), 0, 1)


def by_cam16(xyz: Array, target: Gamut) -> Array:
    """Chroma of CAM16 reduced at constant J and h."""
    return reduced(xyz, target, cam16, xyz_of_cam16)


def by_cielab(xyz: Array, target: Gamut) -> Array:
    """Chroma of CIELAB reduced at constant L* and hue."""
    return reduced(xyz, target, lch, xyz_of_lch)
