"""Gamut mapping: colours outside a gamut are moved inside, towards the neutral axis, at constant
hue.

In Oklab (B. Ottosson, 2020; W3C, CSS Color Module Level 4), whose planes of constant hue
are close to those that the eye sees. A brighter light of the same colour has the same hue
and the same chroma over lightness there, so the edge of a gamut depends only on hue, and is
one table.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.gamuts import BT2020, WHITES, Gamut, adaptation_matrix, conversion
from lutbench.model.parameter import bounded
from lutbench.model.transforms import Array, Transform

# W3C, CSS Color Module Level 4, sample code: XYZ (D65) to LMS, LMS^(1/3) to L a b
LMS_FROM_XYZ = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
LAB_FROM_ROOTS = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)

KNEE = 0.5
"""Chroma, relative to the gamut's edge, up to which colours do not change."""

MOST_KNEE = 0.95
"""The largest knee: above it the curve would bend too sharply for a lattice."""

POWER = 1.2
"""Exponent for the sharpness of the bend: that of the Academy reference gamut compression."""

TOP_KNEE_LIGHT = 0.8
"""Light of the brightest channel, relative to `top`, up to which it does not change."""

HUE_ROWS = 720
"""Rows of the table of edges: two per degree."""

SMOOTHED_DEGREES = 3.0
"""Degrees of hue over which the edge is rounded at the gamut's corners."""

STEEPEST = 1.0
"""Largest change of the edge with hue, in ln(chroma) per radian. That of BT.709 changes five times
as fast beside its blue; neighbouring hues would then be torn apart, and a lattice would fold."""

MOST_CHROMA = 2.0
"""Chroma over lightness up to which an edge is searched for: no spectral colour has more."""

SCAN_STEPS = 101
"""Steps of the search over chroma before it is refined."""

HALVINGS = 30
"""Bisections that refine the edge, to 1e-11 of chroma."""

LEAST_REACH = 1.05
"""Least chroma, relative to the gamut's edge, that is brought onto the edge."""

ADDED_LIGHT = 1 + 1e-9
"""Ratio: a brightest channel that rises by no more counts as unchanged."""

SPARE = 1.001
"""Ratio by which the edge of `reach` is widened, as its corners lie between the table's rows."""

ONTO_EDGE = 1 + 1e-12
"""Largest chroma, relative to the gamut's edge, after the mapping: 1, with rounding."""


@dataclass(frozen=True)
class GamutMapping(Transform):
    """Linear light moved into its gamut at constant Oklab hue, towards the neutral axis.

    The input is R, G, B of `gamut`; a colour outside it has a channel below 0. With
    c = chroma / lightness and x = c / edge(hue):

    - up to `knee` a colour does not change;
    - above, x' = k + s·n / (1 + n^p)^(1/p) with n = (x - k)/s, p = 1.2, and s such that the
      edge of `reach` at that hue becomes the edge of `gamut`. Lightness does not change.

    The edge is that of the gamut, smoothed so that a lattice can follow it (it is up to a
    quarter further inside beside BT.709's blue). If the brightest channel comes out above 0.8
    of `top` and above its value in `reach`, it is compressed in the same way by a gain for
    all three channels, which keeps hue and chroma over lightness. So colours within `reach`
    come out within 0 to `top`.

    Parameters
    ----------
    gamut
        The gamut of the light, for input and output.
    reach
        The gamut whose colours are brought inside; colours outside it are clipped to the edge at
        their hue.
    knee
        0 to 0.95; see above.
    top
        The brightest light of a channel; None for no limit.

    >>> from lutbench.model.gamuts import BT709
    >>> light = conversion(BT2020, BT709).apply([0.0, 1.0, 0.0])
    >>> GamutMapping(BT709).apply(light).round(2).tolist()
    [0.06, 0.82, 0.24]
    """

    gamut: Gamut
    reach: Gamut = field(default=BT2020, metadata={"hidden": True})
    knee: float = bounded(KNEE, 0, MOST_KNEE)
    top: float | None = field(default=1.0, metadata={"hidden": True})
    kind: ClassVar[str] = "gamut_mapping"
    says: ClassVar[str] = "chroma is compressed towards grey, lightness and hue kept"

    def __post_init__(self) -> None:
        if not 0 <= self.knee <= MOST_KNEE or not (self.top is None or self.top > 0):
            raise DefinitionError(
                f"a knee of {self.knee:g} and a top of {self.top} are out of range",
                where="gamut mapping",
                accepted=f"a knee of 0 to {MOST_KNEE}, a top above 0",
            )

    def _apply(self, rgb: Array) -> Array:
        flat = rgb.reshape(-1, 3)
        to_lms = lms_matrix(self.gamut)
        roots = np.cbrt(flat @ to_lms.T)
        light, a, b = (roots @ LAB_FROM_ROOTS.T).T
        chroma = np.hypot(a, b) / np.where(light > 0, light, np.inf)
        edge, furthest = self._edges_at(np.arctan2(b, a))
        x = chroma / edge
        far = np.flatnonzero(x > self.knee)
        found = np.where(light[:, None] > 0, flat, 0.0)
        if far.size:
            most = np.maximum(furthest[far] / edge[far], LEAST_REACH)
            kept = np.minimum(limited(x[far], self.knee, most), ONTO_EDGE) / x[far]
            inner = light[far, None] + kept[:, None] * (roots[far] - light[far, None])
            found[far] = np.maximum(inner**3 @ rgb_from_lms(self.gamut).T, 0.0)
        if self.top is not None:
            bright = np.flatnonzero(found.max(axis=1) > TOP_KNEE_LIGHT * self.top)
            found[bright] *= self._top_gain(flat[bright], found[bright])[:, None]
        return found.reshape(rgb.shape)

    def _top_gain(self, before: Array, after: Array) -> Array:
        """The gain that compresses a brightest channel above the knee of `top`, shape (n,)."""
        assert self.top is not None
        source = (before @ self._to_reach.T).max(axis=1)
        brightest = np.maximum(after.max(axis=1), 1e-12)
        most = brightest / np.maximum(source, 1e-12)
        held = (
            limited(brightest / self.top, TOP_KNEE_LIGHT, np.maximum(most, ADDED_LIGHT)) * self.top
        )
        return np.where(most <= ADDED_LIGHT, 1.0, held / brightest)

    @cached_property
    def _to_reach(self) -> Array:
        return conversion(self.gamut, self.reach).array

    def _edges_at(self, hue: Array) -> tuple[Array, Array]:
        """The edges of `gamut` and of `reach` at hues in radians."""
        own, far = edge_by_hue(self.gamut), edge_by_hue(self.reach, outer=True)
        place = hue % (2 * np.pi) * (HUE_ROWS / (2 * np.pi))
        at = np.arange(HUE_ROWS + 1)
        return np.interp(place, at, own), np.interp(place, at, far)

    def inverse(self) -> Transform:
        raise NotInvertibleError(f"{self!r} has no inverse: colours out of reach are clipped")


def limited(x: Array, knee: float, most: Array) -> Array:
    """Values above a knee compressed so that `most` (above 1) becomes 1; the slope is continuous.

    The curve of the Academy reference gamut compression, power 1.2.
    """
    reach = most - knee
    scale = reach / (((1 - knee) / reach) ** -POWER - 1) ** (1 / POWER)
    n = np.maximum(x - knee, 0) / scale
    return np.where(x <= knee, x, knee + scale * n / (1 + n**POWER) ** (1 / POWER))


@lru_cache(maxsize=256)
def lms_matrix(gamut: Gamut) -> Array:
    """The matrix from linear R, G, B of a gamut to the LMS of Oklab, white to 1, 1, 1; (3, 3)."""
    adapt = adaptation_matrix(gamut.white, WHITES["D65"])
    rows = LMS_FROM_XYZ @ adapt @ gamut.to_xyz
    # The published matrix is rounded; this makes white exactly 1, 1, 1, so greys stay grey.
    return np.asarray(rows / rows.sum(axis=1, keepdims=True))


@lru_cache(maxsize=256)
def rgb_from_lms(gamut: Gamut) -> Array:
    """The inverse of `lms_matrix`, (3, 3)."""
    return np.asarray(np.linalg.inv(lms_matrix(gamut)))


@lru_cache(maxsize=64)
def edge_by_hue(gamut: Gamut, outer: bool = False) -> Array:
    """Chroma over lightness of a gamut's edge, at `HUE_ROWS` steps of hue; the first again last.

    Limited to `STEEPEST` and smoothed: never outside the gamut, or with `outer` never inside.
    """
    hue = np.arange(HUE_ROWS) * 2 * np.pi / HUE_ROWS
    directions: Array = np.asarray([np.cos(hue), np.sin(hue)], dtype=np.float64)
    exact = _edge(directions, rgb_from_lms(gamut))
    if outer:
        raised = -_less_steep(-np.log(_with_corners(exact, gamut)))
        found = SPARE * _rounded(_extreme(np.exp(raised), np.maximum))
    else:
        lowered = _less_steep(np.log(_rounded(_extreme(exact, np.minimum))))
        found = np.exp(_rounded(_extreme(lowered, np.minimum)))
    return np.append(found, found[0])


def _edge(directions: Array, to_rgb: NDArray[Any]) -> Array:
    """The chroma at which the first channel becomes 0 along directions in a and b, lightness 1."""
    share = np.linalg.inv(LAB_FROM_ROOTS)[:, 1:] @ directions

    def inside(chroma: Array) -> NDArray[np.bool_]:
        return np.asarray((to_rgb @ (1 + chroma * share) ** 3 >= 0).all(axis=0), dtype=np.bool_)

    low, high = np.zeros(HUE_ROWS), np.full(HUE_ROWS, MOST_CHROMA)
    open_ = np.ones(HUE_ROWS, dtype=np.bool_)
    for chroma in np.linspace(0, MOST_CHROMA, SCAN_STEPS)[1:]:
        within = inside(np.full(HUE_ROWS, chroma))
        high = np.where(open_ & ~within, chroma, high)
        open_ &= within
        low = np.where(open_, chroma, low)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        within = inside(middle)
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    return low


def _with_corners(edge: Array, gamut: Gamut) -> Array:
    """The edge with the gamut's corners added, which lie between two rows."""
    corners = np.array([[1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1]])
    light, a, b = (np.cbrt(corners @ lms_matrix(gamut).T) @ LAB_FROM_ROOTS.T).T
    row = np.rint(np.arctan2(b, a) % (2 * np.pi) * HUE_ROWS / (2 * np.pi)).astype(int) % HUE_ROWS
    found = edge.copy()
    np.maximum.at(found, row, np.hypot(a, b) / light)
    return found


def _less_steep(value: Array) -> Array:
    """A periodic table lowered until it changes by at most `STEEPEST` per radian."""
    step = STEEPEST * 2 * np.pi / HUE_ROWS
    rows = np.arange(HUE_ROWS)
    apart = step * np.minimum(rows, HUE_ROWS - rows)
    return np.asarray([(np.roll(value, -k) + apart).min() for k in rows])


def _window() -> int:
    return round(SMOOTHED_DEGREES * HUE_ROWS / 360)


def _extreme(value: Array, choose: np.ufunc) -> Array:
    """The minimum or maximum over a window around each row."""
    w = _window()
    return np.asarray(choose.reduce([np.roll(value, k) for k in range(-w, w + 1)]))


def _rounded(value: Array) -> Array:
    """A table smoothed with a raised cosine over the window."""
    w = _window()
    at = np.arange(-w, w + 1)
    weights = np.cos(np.pi * at / (2 * w + 2)) ** 2
    turned = np.stack([np.roll(value, k) for k in at])
    return np.asarray(weights @ turned / weights.sum())
