"""Gamuts: primaries and white, their matrices, and conversion between them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.given import NOT_AN_ARRAY, instance, real, text
from lutbench.model.transforms import Array, Matrix
from lutbench.results import PlainData

Adaptation = Literal["bradford", "cat02", "cat16", "none"]

XY = tuple[float, float]

# Chromaticities of the standard illuminants as the colour-space standards round them.
WHITES: dict[str, XY] = {
    "D50": (0.3457, 0.3585),
    "D55": (0.33243, 0.34744),
    "D60": (0.32161671, 0.33761992),
    "D65": (0.3127, 0.3290),
    "ACES": (0.32168, 0.33767),
    "DCI": (0.314, 0.351),
    "E": (1 / 3, 1 / 3),
}

# Cone response matrices. Bradford: ICC.1:2022, annex E. CAT02: CIE 159:2004.
# CAT16: CIE 248:2022.
ADAPTATIONS: dict[str, Array] = {
    "bradford": np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    ),
    "cat02": np.array(
        [[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]]
    ),
    "cat16": np.array(
        [
            [0.401288, 0.650173, -0.051461],
            [-0.250268, 1.204414, 0.045854],
            [-0.002079, 0.048952, 0.953127],
        ]
    ),
}


@dataclass(frozen=True)
class Gamut(PlainData):
    """Primaries and white as CIE 1931 xy.

    Raises
    ------
    DefinitionError
        When the primaries make no triangle, or the white is outside it.
    """

    KEYS = ("name", "primaries", "white")

    name: str
    primaries: tuple[XY, XY, XY]
    white: XY
    source: str = ""

    def __post_init__(self) -> None:
        where = f"gamut {text(self.name, 'name of a gamut')!r}"
        text(self.source, f"{where}, source")
        try:
            points = np.array([*self.primaries, self.white], dtype=np.float64)
        except NOT_AN_ARRAY:
            points = np.empty(0)
        if points.shape != (4, 2) or not np.isfinite(points).all() or np.abs(points).max() > 5:
            raise DefinitionError(
                "primaries and white are not four xy points",
                where=where,
                accepted="three xy primaries and one xy white",
            )
        red, green, blue, white = map(tuple, points.tolist())
        object.__setattr__(self, "primaries", (red, green, blue))
        object.__setattr__(self, "white", white)
        (xr, yr), (xg, yg), (xb, yb) = self.primaries
        if abs((xg - xr) * (yb - yr) - (xb - xr) * (yg - yr)) < 1e-4:
            raise DefinitionError(
                "the primaries lie on a line, so the gamut is degenerate",
                where=where,
                accepted="three primaries that make a triangle",
            )
        if self.white[1] <= 0:
            raise DefinitionError(
                f"a white of y = {self.white[1]:g}", where=where, accepted="y > 0"
            )
        if (np.linalg.solve(self._columns, xyz_of_xy(self.white)) <= 0).any():
            raise DefinitionError(
                "the white lies outside the triangle of the primaries",
                where=where,
                accepted="a white inside it",
            )

    @property
    def _columns(self) -> Array:
        return np.array([[x, y, 1 - x - y] for x, y in self.primaries]).T

    @cached_property
    def to_xyz(self) -> Array:
        """The matrix from R G B to XYZ with Y = 1 for white, shape (3, 3).

        Source: SMPTE RP 177-1993.
        """
        scale = np.linalg.solve(self._columns, xyz_of_xy(self.white))
        return np.asarray(self._columns * scale)

    @property
    def luminance_weights(self) -> tuple[float, float, float]:
        """The luminance Y of R, G and B; they add up to 1."""
        red, green, blue = self.to_xyz[1].tolist()
        return red, green, blue

    def same_as(self, other: Gamut, tolerance: float = 1e-4) -> bool:
        """Whether primaries and white are the same, within the rounding of published values."""
        instance(other, Gamut, "other", "a Gamut")
        mine = np.array([*self.primaries, self.white])
        apart = np.abs(mine - np.array([*other.primaries, other.white])).max()
        return bool(apart <= real(tolerance, "tolerance"))


def xyz_of_xy(xy: ArrayLike) -> Array:
    """XYZ, with Y = 1, of a chromaticity; shape (3,)."""
    x, y = np.asarray(xy, dtype=np.float64)
    return np.array([x / y, 1.0, (1 - x - y) / y])


def adaptation_matrix(source: XY, target: XY, adaptation: str = "bradford") -> Array:
    """The XYZ matrix of a von Kries adaptation from one white to another, shape (3, 3)."""
    name = check_adaptation(adaptation)
    if name == "none":
        return np.eye(3)
    cone = ADAPTATIONS[name]
    gain = (cone @ xyz_of_xy(target)) / (cone @ xyz_of_xy(source))
    return np.asarray(np.linalg.solve(cone, gain[:, None] * cone))


@lru_cache(maxsize=256)
def conversion(source: Gamut, target: Gamut, adaptation: str = "bradford") -> Matrix:
    """The matrix from linear R G B of one gamut to another.

    With an adaptation, white becomes exactly white, so neutrals stay neutral.

    >>> from lutbench.model.gamuts import BT709, BT2020
    >>> conversion(BT709, BT2020).array.round(4).tolist()[0]  # Recommendation ITU-R BT.2087
    [0.6274, 0.3293, 0.0433]
    """
    if source.primaries == target.primaries and source.white == target.white:
        return Matrix.from_array(np.eye(3))
    adapt = adaptation_matrix(source.white, target.white, adaptation)
    return Matrix.from_array(np.linalg.solve(target.to_xyz, adapt @ source.to_xyz))


def usual_adaptation(source: Gamut, target: Gamut) -> Adaptation:
    """The default adaptation: Bradford, but none to or from CIE XYZ.

    XYZ is not a device with its own white, so colours keep their white there.

    >>> from lutbench.model.gamuts import BT709, P3_D65, XYZ
    >>> usual_adaptation(BT709, P3_D65), usual_adaptation(BT709, XYZ)
    ('bradford', 'none')
    """
    return "none" if XYZ.primaries in (source.primaries, target.primaries) else "bradford"


def check_adaptation(name: str, where: str = "") -> Adaptation:
    """`name` as the name of an adaptation, in any letter case.

    Raises
    ------
    LutbenchError
        When there is no such adaptation.
    """
    folded = name.casefold() if isinstance(name, str) else ""
    if folded not in (*ADAPTATIONS, "none"):
        raise LutbenchError(
            f"no adaptation is named {name!r:.60}",
            where=where,
            accepted="bradford, CAT02, CAT16, none",
        )
    return folded  # type: ignore[return-value]


BT709 = Gamut(
    "BT.709",
    ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)),
    WHITES["D65"],
    "Recommendation ITU-R BT.709-6, item 1.3",
)
BT2020 = Gamut(
    "BT.2020",
    ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
    WHITES["D65"],
    "Recommendation ITU-R BT.2020-2, table 3",
)
P3_D65 = Gamut(
    "P3-D65",
    ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    WHITES["D65"],
    "SMPTE EG 432-1:2010",
)
DCI_P3 = Gamut("DCI-P3", P3_D65.primaries, WHITES["DCI"], "SMPTE RP 431-2:2011")
ACES_AP0 = Gamut(
    "ACES AP0",
    ((0.7347, 0.2653), (0.0, 1.0), (0.0001, -0.0770)),
    WHITES["ACES"],
    "SMPTE ST 2065-1:2012",
)
ACES_AP1 = Gamut(
    "ACES AP1",
    ((0.713, 0.293), (0.165, 0.830), (0.128, 0.044)),
    WHITES["ACES"],
    "Academy S-2014-004",
)
XYZ = Gamut("XYZ", ((1.0, 0.0), (0.0, 1.0), (0.0, 0.0)), WHITES["E"], "CIE 15:2018")

STANDARD_GAMUTS = (BT709, BT2020, P3_D65, DCI_P3, ACES_AP0, ACES_AP1, XYZ)
