"""Hue and saturation as a vectorscope shows them: the angle and the length of Cb and Cr."""

from __future__ import annotations

import numpy as np

from lutbench.model.curves.hdr import HlgSystemGamma
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array

Weights = tuple[float, float, float]

BT709: Weights = CDL_WEIGHTS
BT2020: Weights = HlgSystemGamma().weights
"""Luma weights: Recommendations ITU-R BT.709 and BT.2020 (non-constant luminance)."""

HUES = ("reds", "skin-side reds", "yellows", "greens", "cyans", "blues", "magentas")
_BARS = {
    "reds": (1, 0, 0),
    "yellows": (1, 1, 0),
    "greens": (0, 1, 0),
    "cyans": (0, 1, 1),
    "blues": (0, 0, 1),
    "magentas": (1, 0, 1),
}
SKIN_DEGREES = 123.0
"""Where skin lies on a vectorscope: common practice, the +I axis of NTSC (33° past R - Y)."""

TURN = ("reds", "yellows", "greens", "cyans", "blues", "magentas")
"""The hues in the order in which a growing angle meets them."""


def weights_for(gamut: str) -> Weights:
    """The luma weights of a signal: BT.2020's own in that gamut, else BT.709's, as scopes do."""
    return BT2020 if gamut == "BT.2020" else BT709


def luma_of(signal: Array, weights: Weights) -> Array:
    """Luma, shape (...), of signals (..., 3)."""
    return np.asarray(signal @ np.array(weights))


def scope_of(signal: Array, weights: Weights) -> Array:
    """Cb + i·Cr, shape (...), of signals (..., 3).

    >>> red = scope_of(np.array([0.75, 0.0, 0.0]), BT709)
    >>> round(float(np.rad2deg(np.angle(red))), 1)
    102.9
    """
    luma = luma_of(signal, weights)
    cb = (signal[..., 2] - luma) / (2 * (1 - weights[2]))
    cr = (signal[..., 0] - luma) / (2 * (1 - weights[0]))
    return np.asarray(cb + 1j * cr)


def angles_of(weights: Weights) -> dict[str, float]:
    """The angle of each hue in degrees, 0 to 360: the bars of full colour, and skin."""
    bars = {
        name: float(np.rad2deg(np.angle(scope_of(np.array(bar, dtype=float), weights))) % 360)
        for name, bar in _BARS.items()
    }
    return {name: bars.get(name, SKIN_DEGREES) for name in HUES}
