"""Grade: ASC CDL, saturation, white balance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from lutbench.errors import DefinitionError, LutbenchError, NotInvertibleError
from lutbench.given import flag, real, triple
from lutbench.model.transforms import Array, Matrix, Transform

if TYPE_CHECKING:
    from lutbench.model.gamuts import Gamut

Triple = tuple[float, float, float]

CDL_WEIGHTS: Triple = (0.2126, 0.7152, 0.0722)
"""The luma weights of ASC CDL 1.2, for any gamut."""


@dataclass(frozen=True)
class Saturation(Transform):
    """Distance of each channel from luma, multiplied by `amount`, 0 to 20."""

    amount: float = 1.0
    weights: Triple = CDL_WEIGHTS
    kind: ClassVar[str] = "saturation"

    def __post_init__(self) -> None:
        if not 0 <= self.amount <= 20:
            raise DefinitionError(
                f"a saturation of {self.amount:g} is out of range", accepted="0 to 20"
            )

    def _apply(self, rgb: Array) -> Array:
        luma = (rgb @ np.array(self.weights))[..., None]
        return np.asarray(luma + self.amount * (rgb - luma))

    def inverse(self) -> Saturation:
        if self.amount == 0:
            raise NotInvertibleError("a saturation of 0 has no inverse")
        return Saturation(1 / self.amount, self.weights)


@dataclass(frozen=True)
class Cdl(Transform):
    """ASC CDL 1.2: (in·slope + offset)^power in each channel, then saturation.

    With `clamp` (version 1.2) values are clamped to 0..1 before the power and after the
    saturation. Without it nothing is clamped, and the power leaves negative values unchanged
    (the no-clamp form of the Common LUT Format).

    >>> Cdl(slope=(2.0, 1.0, 1.0), saturation=0.5).apply([0.25, 0.5, 0.5]).round(4).tolist()
    [0.5, 0.5, 0.5]
    """

    slope: Triple = (1.0, 1.0, 1.0)
    offset: Triple = (0.0, 0.0, 0.0)
    power: Triple = (1.0, 1.0, 1.0)
    saturation: float = 1.0
    clamp: bool = True
    kind: ClassVar[str] = "cdl"

    def __post_init__(self) -> None:
        try:
            for name in ("slope", "offset", "power"):
                object.__setattr__(self, name, triple(getattr(self, name), f"CDL, {name}"))
            object.__setattr__(self, "saturation", real(self.saturation, "CDL, saturation"))
            object.__setattr__(self, "clamp", flag(self.clamp, "CDL, clamp"))
        except LutbenchError as error:
            raise DefinitionError(error.what, where=error.where, accepted=error.accepted) from error
        if min(self.slope) < 0 or min(self.power) <= 0 or self.saturation < 0:
            raise DefinitionError(
                "a value is out of range",
                where="CDL",
                accepted="slope >= 0, power > 0, saturation >= 0",
            )

    def _apply(self, rgb: Array) -> Array:
        value = rgb * np.array(self.slope) + np.array(self.offset)
        if self.clamp:
            value = np.clip(value, 0, 1)
        value = _signless_power(value, np.array(self.power))
        value = Saturation(self.saturation)._apply(value)
        return np.clip(value, 0, 1) if self.clamp else value

    def inverse(self) -> CdlInverse:
        if min(self.slope) == 0 or self.saturation == 0:
            raise NotInvertibleError(f"{self!r} has a slope or saturation of 0 and no inverse")
        return CdlInverse(self)


@dataclass(frozen=True)
class CdlInverse(Transform):
    """The inverse of a CDL: of saturation, power, offset and slope, in this order."""

    cdl: Cdl
    kind: ClassVar[str] = "cdl_inverse"

    def _apply(self, rgb: Array) -> Array:
        cdl = self.cdl
        value = np.clip(rgb, 0, 1) if cdl.clamp else rgb
        value = Saturation(1 / cdl.saturation)._apply(value)
        if cdl.clamp:
            value = np.clip(value, 0, 1)
        value = _signless_power(value, 1 / np.array(cdl.power))
        value = np.asarray((value - np.array(cdl.offset)) / np.array(cdl.slope))
        return np.clip(value, 0, 1) if cdl.clamp else value

    def inverse(self) -> Cdl:
        return self.cdl


def _signless_power(value: Array, power: Array) -> Array:
    """`value` to the power `power` if it is positive, else unchanged."""
    return np.where(value > 0, np.maximum(value, 0) ** power, value)


def gains(red: float, green: float, blue: float) -> Matrix:
    """White balance as a gain for each channel of linear light, above 0 and up to 100."""
    if not all(0 < gain <= 100 for gain in (red, green, blue)):
        raise DefinitionError(
            f"gains of {red:g} {green:g} {blue:g} are out of range",
            where="white balance",
            accepted="above 0, up to 100",
        )
    return Matrix.from_array(np.diag([red, green, blue]))


def planckian_xy(kelvin: float) -> tuple[float, float]:
    """The chromaticity of a black body of 1667 to 25000 K.

    Source: Kang, Moon, Hong, Lee, Cho and Kim, 2002, "Design of advanced color
    temperature control system for HDTV applications", as colour-science gives it.

    >>> [round(value, 4) for value in planckian_xy(6500)]
    [0.3135, 0.3237]
    """
    if not 1667 <= kelvin <= 25000:
        raise DefinitionError(
            f"a colour temperature of {kelvin:g} K is out of range",
            where="white balance",
            accepted="1667 to 25000",
        )
    t = float(kelvin)
    if t <= 4000:
        x = -0.2661239e9 / t**3 - 0.2343589e6 / t**2 + 0.8776956e3 / t + 0.179910
    else:
        x = -3.0258469e9 / t**3 + 2.1070379e6 / t**2 + 0.2226347e3 / t + 0.24039
    if t <= 2222:
        y = -1.1063814 * x**3 - 1.34811020 * x**2 + 2.18555832 * x - 0.20219683
    elif t <= 4000:
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        y = 3.0817580 * x**3 - 5.8733867 * x**2 + 3.75112997 * x - 0.37001483
    return x, y


def illuminant_xy(kelvin: float, tint: float = 0.0) -> tuple[float, float]:
    """The chromaticity of a light: a black body, moved off the locus by `tint`.

    `tint` is 1000 times Duv (CIE 1960 uv, across the locus), -50 to 50; positive is greener,
    negative more magenta.
    """
    if not abs(tint) <= 50:
        raise DefinitionError(
            f"a tint of {tint:g} is out of range", where="white balance", accepted="-50 to 50"
        )
    u, v = _uv(planckian_xy(kelvin))
    # The direction across the locus, from its chord over 1 % of the temperature.
    u1, v1 = _uv(planckian_xy(max(kelvin * 0.995, 1667)))
    u2, v2 = _uv(planckian_xy(min(kelvin * 1.005, 25000)))
    along = np.array([u2 - u1, v2 - v1]) / np.hypot(u2 - u1, v2 - v1)
    u, v = u + along[1] * tint * 1e-3, v - along[0] * tint * 1e-3
    return float(3 * u / (2 * u - 8 * v + 4)), float(2 * v / (2 * u - 8 * v + 4))


def _uv(xy: tuple[float, float]) -> tuple[float, float]:
    x, y = xy
    return 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)


def white_balance(
    gamut: Gamut,
    kelvin: float,
    tint: float = 0.0,
    *,
    balanced_for: float = 5600.0,
    adaptation: str = "bradford",
) -> Matrix:
    """The matrix on linear R G B of `gamut` that makes a light of `kelvin` neutral.

    The recording is assumed to be balanced for a black body of `balanced_for` kelvin; if
    `kelvin` is the same and there is no tint, nothing changes.
    """
    from lutbench.model.gamuts import adaptation_matrix

    light = illuminant_xy(kelvin, tint)
    neutral = illuminant_xy(balanced_for)
    # A light of `balanced_for` was recorded as the gamut's white: both lights are adapted to
    # that first, and then one to the other.
    to_frame = adaptation_matrix(neutral, gamut.white, adaptation)
    adapt = adaptation_matrix(light, neutral, adaptation)
    xyz = to_frame @ adapt @ np.linalg.inv(to_frame)
    return Matrix.from_array(np.linalg.solve(gamut.to_xyz, xyz @ gamut.to_xyz))


@dataclass(frozen=True)
class Exposure(Transform):
    """Light multiplied by 2^stops, -20 to 20 stops.

    >>> Exposure(1.0).apply([0.18, 0.18, 0.18]).tolist()
    [0.36, 0.36, 0.36]
    """

    stops: float = 0.0
    kind: ClassVar[str] = "exposure"

    def __post_init__(self) -> None:
        if not abs(self.stops) <= 20:
            raise DefinitionError(
                f"an exposure of {self.stops:g} stops is out of range", accepted="-20 to 20"
            )

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(rgb * 2.0**self.stops)

    def inverse(self) -> Exposure:
        return Exposure(-self.stops)
