"""How much of a target a display can show: peak, contrast, gamut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.display.model import DisplayModel
from lutbench.display.target import Target, highest_peak
from lutbench.model.gamuts import Gamut
from lutbench.model.transforms import Array
from lutbench.results import PlainData
from lutbench.tables.lut import lattice

LATTICE_SIGNALS = 17
"""Signals along an edge of the cube that are tried: 4913 in all, for a share to about 0.1 %."""

OUT_OF_REACH_SHARE = 1e-3
"""Share of a channel's full light: a colour that needs more outside 0..1 is out of reach."""


@dataclass(frozen=True)
class Reach(PlainData):
    """How much of a target a display can show."""

    KEYS = ("peak", "white", "black", "contrast", "coverage_xy", "coverage_uv", "colours")

    peak: float
    """The highest luminance, in cd/m², at which the display can show the target's white."""
    white: float
    """cd/m² of the display's own signal 1."""
    black: float
    """cd/m² of the display's own signal 0."""
    coverage_xy: float
    """The share of the target's gamut triangle that the display's covers, in CIE 1931 xy."""
    coverage_uv: float
    """The same in CIE 1976 u'v'."""
    colours: float
    """The share of the target's signals, evenly over the cube, that the display can show."""

    @property
    def contrast(self) -> float:
        """White over black; infinite if black reads 0."""
        return self.white / self.black if self.black > 0 else float("inf")


def reach(model: DisplayModel, target: Target) -> Reach:
    """How much of the target the display can show."""
    light = model.linear(target.xyz(lattice(LATTICE_SIGNALS).reshape(-1, 3)))
    within = ((light > -OUT_OF_REACH_SHARE) & (light < 1 + OUT_OF_REACH_SHARE)).all(axis=1)
    own = model.gamut
    return Reach(
        highest_peak(model, target.gamut),
        float(model.white[1]),
        max(float(model.darkest[1]), 0.0),
        coverage(own, target.gamut),
        coverage(own, target.gamut, uniform=True),
        float(within.mean()),
    )


def coverage(own: Gamut, wanted: Gamut, *, uniform: bool = False) -> float:
    """The share of the triangle `wanted` that lies inside the triangle `own`.

    In CIE 1931 xy, or in CIE 1976 u'v' with `uniform`.

    >>> from lutbench.model.gamuts import BT709, P3_D65
    >>> round(coverage(BT709, P3_D65), 3), round(coverage(P3_D65, BT709), 3)
    (0.737, 1.0)
    """
    first, second = (np.array(each.primaries) for each in (own, wanted))
    if uniform:
        first, second = uv_of_xy(first), uv_of_xy(second)
    return _area(_cut(second, first)) / _area(second)


def uv_of_xy(xy: Array) -> Array:
    """CIE 1976 u'v' of xy (CIE 15:2018, 8.1)."""
    x, y = xy.T
    scale = -2 * x + 12 * y + 3
    return np.stack([4 * x / scale, 9 * y / scale], axis=1)


def _area(polygon: Array) -> float:
    if len(polygon) < 3:
        return 0.0
    x, y = polygon.T
    return 0.5 * abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))


def _cut(polygon: Array, triangle: Array) -> Array:
    """A convex polygon cut by each edge of a triangle in turn."""
    (ax, ay), (bx, by), (cx, cy) = triangle
    if (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) < 0:
        triangle = triangle[::-1]
    for start, end in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        edge = end - start
        side = [float(edge[0] * (p - start)[1] - edge[1] * (p - start)[0]) for p in polygon]
        kept = []
        for k, point in enumerate(polygon):
            before = side[k - 1]
            if (side[k] >= 0) != (before >= 0):
                share = before / (before - side[k])
                kept.append(polygon[k - 1] + share * (point - polygon[k - 1]))
            if side[k] >= 0:
                kept.append(point)
        polygon = np.array(kept).reshape(-1, 2)
    return polygon
