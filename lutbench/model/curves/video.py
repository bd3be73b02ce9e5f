"""Curves of standard-range television and computer displays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve, Decode, Weights, mirrored
from lutbench.model.light import Display, Side
from lutbench.model.transforms import Array, Transform


@dataclass(frozen=True)
class Linear(Curve):
    """Signal is light."""

    name: str = "linear"
    family: ClassVar[str] = "linear"
    source: ClassVar[str] = "by definition"

    def _encode(self, light: Array) -> Array:
        return light.copy()

    def _decode(self, signal: Array) -> Array:
        return signal.copy()


@dataclass(frozen=True)
class Bt709(Curve):
    """The camera curve of BT.709, BT.601 and 10-bit BT.2020: V = 1.099 L^0.45 - 0.099, 4.5 L below.

    With the rounded constants of the text the two parts meet with a step of
    0.00025 at L = 0.018; signals inside that step decode to the break.

    >>> Bt709().encode([0.018, 0.18, 1.0]).round(4).tolist()
    [0.0812, 0.409, 1.0]
    """

    name: str = "BT.709"
    alpha: float = 1.099
    beta: float = 0.018
    source: ClassVar[str] = "Recommendation ITU-R BT.709-6, item 1.2"
    television: ClassVar[bool] = True
    shown: ClassVar[bool] = True
    takes_black: ClassVar[bool] = True

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform | None:
        if side == "scene":
            return Decode(self)
        # The display of BT.709's system is that of BT.1886 (BT.709-6, item 1.2, note 1).
        return None if display is None else Bt1886().to_light(side, display, weights)

    def _encode(self, light: Array) -> Array:
        power = self.alpha * np.maximum(light, self.beta) ** 0.45 - (self.alpha - 1)
        return np.where(light < self.beta, 4.5 * light, power)

    def _decode(self, signal: Array) -> Array:
        upper = self.alpha * self.beta**0.45 - (self.alpha - 1)
        base = (np.maximum(signal, upper) + (self.alpha - 1)) / self.alpha
        return np.where(signal < upper, np.minimum(signal / 4.5, self.beta), base ** (1 / 0.45))


@dataclass(frozen=True)
class Bt2020(Bt709):
    """The camera curve of BT.2020: as BT.709, with the finer constants in the 12-bit system."""

    name: str = "BT.2020"
    source: ClassVar[str] = "Recommendation ITU-R BT.2020-2, table 4"


BT2020_12_BIT = Bt2020("BT.2020 12-bit", alpha=1.0993, beta=0.0181)


@dataclass(frozen=True)
class Srgb(Curve):
    """The curve of sRGB; its linear part continues below zero.

    >>> Srgb().encode([0.18, 1.0]).round(4).tolist()
    [0.4614, 1.0]
    """

    name: str = "sRGB"
    family: ClassVar[str] = "display"
    source: ClassVar[str] = "IEC 61966-2-1:1999"
    shown: ClassVar[bool] = True

    BREAK: ClassVar[float] = 0.0031308

    def _encode(self, light: Array) -> Array:
        power = 1.055 * np.maximum(light, self.BREAK) ** (1 / 2.4) - 0.055
        return np.where(light <= self.BREAK, 12.92 * light, power)

    def _decode(self, signal: Array) -> Array:
        upper = 12.92 * self.BREAK
        power = ((np.maximum(signal, upper) + 0.055) / 1.055) ** 2.4
        return np.where(signal <= upper, signal / 12.92, power)


@dataclass(frozen=True)
class Power(Curve):
    """A pure power: light = signal^gamma, odd below zero."""

    gamma: float = 2.4
    family: ClassVar[str] = "display"
    source: ClassVar[str] = "by definition"
    shown: ClassVar[bool] = True

    def __post_init__(self) -> None:
        if not 0.1 <= self.gamma <= 10:
            raise DefinitionError(
                f"a gamma of {self.gamma:g} is out of range", where=self.name, accepted="0.1 to 10"
            )

    def _encode(self, light: Array) -> Array:
        return mirrored(lambda x: x ** (1 / self.gamma), light)

    def _decode(self, signal: Array) -> Array:
        return mirrored(lambda x: x**self.gamma, signal)


@dataclass(frozen=True)
class Bt1886(Curve):
    """The display curve of BT.1886: L = a·max(V + b, 0)^2.4, with white at 1.

    `black` is the black level of the display over its white level, L_B / L_W.
    With black 0 the curve is a pure power 2.4, odd below zero; with a black level,
    signals below 0 decode to no less than zero light.

    >>> float(Bt1886().decode(0.5).round(5)), float(Bt1886().encode(0.18).round(5))
    (0.18946, 0.48944)
    """

    name: str = "BT.1886"
    black: float = 0.0
    family: ClassVar[str] = "display"
    source: ClassVar[str] = "Recommendation ITU-R BT.1886 (2011), annex 1"
    television: ClassVar[bool] = True
    shown: ClassVar[bool] = True
    takes_black: ClassVar[bool] = True
    scene_name: ClassVar[str] = "BT.709"

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform | None:
        if side == "scene":
            return None
        black = 0.0 if display is None else display.black / display.peak
        return Decode(replace(self, black=black) if black and not self.black else self)

    def __post_init__(self) -> None:
        if not 0 <= self.black < 0.5:
            raise DefinitionError(
                f"a black level of {self.black:g} times white is out of range",
                where=self.name,
                accepted="0 to 0.5",
            )

    @property
    def gain_and_lift(self) -> tuple[float, float]:
        """`a` and `b` of the Recommendation for L_W = 1."""
        root = self.black ** (1 / 2.4)
        return (1 - root) ** 2.4, root / (1 - root)

    def _encode(self, light: Array) -> Array:
        a, b = self.gain_and_lift
        if self.black == 0:
            return mirrored(lambda x: x ** (1 / 2.4), light)
        return np.asarray((np.maximum(light, 0) / a) ** (1 / 2.4) - b)

    def _decode(self, signal: Array) -> Array:
        a, b = self.gain_and_lift
        if self.black == 0:
            return mirrored(lambda x: x**2.4, signal)
        return np.asarray(a * np.maximum(signal + b, 0) ** 2.4)


CURVES = (
    Linear(),
    Bt709(),
    Bt2020(),
    BT2020_12_BIT,
    Bt1886(),
    Srgb(),
    Power("gamma 2.2", 2.2),
    Power("gamma 2.4", 2.4),
    Power("gamma 2.6", 2.6),
)
"""The curves of this file that are in the catalogue."""
