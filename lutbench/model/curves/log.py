"""Logarithmic curves: ACES, printing density, and the parametric family."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.transforms import Array


@dataclass(frozen=True)
class AcesCc(Curve):
    """The ACEScc grading curve; zero and negative light give the lowest signal.

    >>> AcesCc().encode([0.0, 0.18, 1.0]).round(4).tolist()
    [-0.3584, 0.4136, 0.5548]
    """

    name: str = "ACEScc"
    family: ClassVar[str] = "log"
    source: ClassVar[str] = "Academy S-2014-003"

    def _encode(self, light: Array) -> Array:
        dark = (np.log2(2**-16 + np.clip(light, 0, 2**-15) / 2) + 9.72) / 17.52
        return np.where(light < 2**-15, dark, (np.log2(np.maximum(light, 2**-15)) + 9.72) / 17.52)

    def _decode(self, signal: Array) -> Array:
        power = 2 ** (np.minimum(signal, 4.0) * 17.52 - 9.72)
        return np.where(signal <= (9.72 - 15) / 17.52, (power - 2**-16) * 2, power)


@dataclass(frozen=True)
class AcesCct(Curve):
    """The ACEScct grading curve: ACEScc with a linear toe.

    >>> AcesCct().encode([0.0078125, 0.18]).round(9).tolist()
    [0.155251142, 0.413588402]
    """

    name: str = "ACEScct"
    family: ClassVar[str] = "log"
    source: ClassVar[str] = "Academy S-2016-001"

    SLOPE: ClassVar[float] = 10.5402377416545
    OFFSET: ClassVar[float] = 0.0729055341958355
    LIGHT_BREAK: ClassVar[float] = 0.0078125
    SIGNAL_BREAK: ClassVar[float] = 0.155251141552511

    def _encode(self, light: Array) -> Array:
        log = (np.log2(np.maximum(light, self.LIGHT_BREAK)) + 9.72) / 17.52
        return np.where(light <= self.LIGHT_BREAK, self.SLOPE * light + self.OFFSET, log)

    def _decode(self, signal: Array) -> Array:
        power = 2 ** (np.minimum(signal, 4.0) * 17.52 - 9.72)
        toe = (signal - self.OFFSET) / self.SLOPE
        return np.where(signal <= self.SIGNAL_BREAK, toe, power)


@dataclass(frozen=True)
class PrintingDensity(Curve):
    """Printing-density log of film scans: 10-bit black 95, white 685, 0.002 density per code.

    code = 685 + (gamma / 0.002)·log10(light·(1 - offset) + offset), with the offset such
    that light 0 is black. Common practice; the values are those of colour-science.

    >>> float((PrintingDensity().encode(0.18) * 1023).round(1))
    467.8
    """

    name: str = "Cineon"
    black: float = 95.0
    white: float = 685.0
    gamma: float = 0.6
    family: ClassVar[str] = "log"
    source: ClassVar[str] = "common practice of film scanning (printing density)"

    DENSITY_PER_CODE: ClassVar[float] = 0.002

    def __post_init__(self) -> None:
        if not (0 <= self.black < self.white <= 1023 and self.gamma > 0):
            raise DefinitionError(
                "black, white or gamma is out of range",
                where=self.name,
                accepted="0 <= black < white <= 1023, gamma > 0",
            )

    @property
    def _codes_per_decade(self) -> float:
        return self.gamma / self.DENSITY_PER_CODE

    @property
    def _offset(self) -> float:
        return float(10 ** ((self.black - self.white) / self._codes_per_decade))

    def _encode(self, light: Array) -> Array:
        # The bound is far below code 0, and keeps the logarithm finite for negative light.
        inside = np.maximum(light * (1 - self._offset) + self._offset, 1e-6)
        return np.asarray((self.white + self._codes_per_decade * np.log10(inside)) / 1023)

    def _decode(self, signal: Array) -> Array:
        density = 10 ** ((np.minimum(signal, 8.0) * 1023 - self.white) / self._codes_per_decade)
        return np.asarray((density - self._offset) / (1 - self._offset))


@dataclass(frozen=True)
class CameraLog(Curve):
    """A logarithm with a linear toe below a break: the form of most published camera logs.

    Above ``lin_side_break``:
    signal = log_side_slope·log_base(lin_side_slope·light + lin_side_offset) + log_side_offset;
    below: signal = linear_slope·light + an offset that makes the curve continuous. Without
    ``linear_slope`` the toe has the slope of the logarithm at the break; without a break
    the toe begins where the logarithm's argument is 1e-6.
    The parameters are those of the camera log of the Common LUT Format
    (Academy S-2014-006, SMPTE ST 2136-1).

    >>> log = CameraLog("demo", base=10, log_side_slope=0.25, log_side_offset=0.6,
    ...                 lin_side_slope=1.0, lin_side_offset=0.01, lin_side_break=0.01)
    >>> float(log.encode(0.18).round(4)), float(log.decode(log.encode(0.0)).round(9))
    (0.4197, 0.0)
    """

    base: float = 10.0
    log_side_slope: float = 1.0
    log_side_offset: float = 0.0
    lin_side_slope: float = 1.0
    lin_side_offset: float = 0.0
    lin_side_break: float | None = None
    linear_slope: float | None = None
    family: ClassVar[str] = "log"
    source: ClassVar[str] = "form: Academy S-2014-006 (Common LUT Format)"

    FLOOR: ClassVar[float] = 1e-6

    def __post_init__(self) -> None:
        numbers = [self.base, self.log_side_slope, self.log_side_offset, self.lin_side_slope]
        numbers += [self.lin_side_offset, self.lin_side_break or 0.0, self.linear_slope or 1.0]
        problem = ""
        if not all(map(math.isfinite, numbers)):
            problem = "a parameter is not finite"
        elif self.base <= 1:
            problem = f"base {self.base:g} is not above 1"
        elif self.log_side_slope <= 0 or self.lin_side_slope <= 0:
            problem = "a slope is not above 0, so the curve does not rise"
        elif self.linear_slope is not None and self.linear_slope <= 0:
            problem = "linear_slope is not above 0, so the toe does not rise"
        elif self.linear_slope is not None and self.lin_side_break is None:
            problem = "linear_slope has no lin_side_break to start from"
        elif (
            self.lin_side_break is not None
            and self.lin_side_slope * self.lin_side_break + self.lin_side_offset <= 0
        ):
            problem = "the logarithm is not defined at lin_side_break"
        if problem:
            raise DefinitionError(problem, where=f"curve {self.name!r}", accepted="a rising curve")

    @property
    def _toe(self) -> tuple[float, float, float]:
        """Break, slope and offset of the linear part."""
        if self.lin_side_break is None:
            at = (self.FLOOR - self.lin_side_offset) / self.lin_side_slope
        else:
            at = self.lin_side_break
        argument = self.lin_side_slope * at + self.lin_side_offset
        slope = self.log_side_slope * self.lin_side_slope / (argument * math.log(self.base))
        if self.linear_slope is not None:
            slope = self.linear_slope
        level = self.log_side_slope * math.log(argument, self.base) + self.log_side_offset
        return at, slope, level - slope * at

    def _encode(self, light: Array) -> Array:
        at, slope, offset = self._toe
        argument = self.lin_side_slope * np.maximum(light, at) + self.lin_side_offset
        log = self.log_side_slope * np.log(argument) / math.log(self.base) + self.log_side_offset
        return np.where(light <= at, slope * light + offset, log)

    def _decode(self, signal: Array) -> Array:
        at, slope, offset = self._toe
        exponent = (np.maximum(signal, slope * at + offset) - self.log_side_offset) / (
            self.log_side_slope
        )
        # An exponent of more than 60 decades would overflow, far beyond any real light.
        exponent = np.minimum(exponent, 60 / math.log10(self.base))
        argument = self.base**exponent
        log = (argument - self.lin_side_offset) / self.lin_side_slope
        return np.where(signal <= slope * at + offset, (signal - offset) / slope, log)


CURVES = (AcesCc(), AcesCct(), PrintingDensity())
"""The curves of this file that are in the catalogue."""
