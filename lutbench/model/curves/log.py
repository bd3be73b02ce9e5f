"""Logarithmic curves: ACES, printing density, and the parametric family."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.transforms import Array

SMALLEST = float(np.finfo(np.float32).tiny)
"""Lower bound of a logarithm's argument: the smallest normal float32."""

MOST_EXPONENT = 80.0
"""Natural exponent up to which a logarithm is undone: beyond any real light, without overflow."""


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


class LogAndLine:
    """A logarithm with a line below a break, the log of the Common LUT Format.

    Above the break
    y = log_side_slope·log_base(lin_side_slope·x + lin_side_offset) + log_side_offset;
    below it y = linear_slope·x + an offset that makes the curve continuous. Without
    ``linear_slope`` the line has the slope of the logarithm at the break.
    Source: Academy S-2014-006 (Common LUT Format), SMPTE ST 2136-1.
    """

    base: float
    log_side_slope: float
    log_side_offset: float
    lin_side_slope: float
    lin_side_offset: float
    lin_side_break: float | None
    linear_slope: float | None

    def _is_finite(self) -> bool:
        numbers = [self.base, self.log_side_slope, self.log_side_offset, self.lin_side_slope]
        numbers += [self.lin_side_offset, self.lin_side_break or 0.0, self.linear_slope or 1.0]
        return all(map(math.isfinite, numbers))

    def _is_undefined_at_break(self) -> bool:
        return self.lin_side_break is not None and self._argument(self.lin_side_break) <= 0

    def _argument(self, light: Any) -> Any:
        return self.lin_side_slope * light + self.lin_side_offset

    def _log(self, light: Any) -> Array:
        argument = np.maximum(self._argument(light), SMALLEST)
        logarithm = np.log(argument) / math.log(self.base)
        return np.asarray(self.log_side_slope * logarithm + self.log_side_offset)

    def _antilog(self, signal: Array) -> Array:
        exponent = (signal - self.log_side_offset) / self.log_side_slope
        exponent = np.minimum(exponent * math.log(self.base), MOST_EXPONENT)
        return np.asarray((np.exp(exponent) - self.lin_side_offset) / self.lin_side_slope)

    def line(self, at: float) -> tuple[float, float, float]:
        """The signal at a break, and the slope and the offset of the line below it."""
        level, slope = float(self._log(at)), self.linear_slope
        if slope is None:
            argument = self._argument(at)
            slope = self.log_side_slope * self.lin_side_slope / (argument * math.log(self.base))
        return level, slope, level - slope * at

    def _above_line(self, light: Array, at: float) -> Array:
        _, slope, offset = self.line(at)
        return np.where(light <= at, slope * light + offset, self._log(np.maximum(light, at)))

    def _undone_above_line(self, signal: Array, at: float) -> Array:
        level, slope, offset = self.line(at)
        log = self._antilog(np.maximum(signal, level))
        return np.where(signal <= level, (signal - offset) / slope, log)


@dataclass(frozen=True)
class CameraLog(LogAndLine, Curve):
    """The form of most published camera logs: see `LogAndLine`; the line is the toe.

    Without a break the toe begins where the logarithm's argument is 1e-6.

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
        problem = ""
        if not self._is_finite():
            problem = "a parameter is not finite"
        elif self.base <= 1:
            problem = f"base {self.base:g} is not above 1"
        elif self.log_side_slope <= 0 or self.lin_side_slope <= 0:
            problem = "a slope is not above 0, so the curve does not rise"
        elif self.linear_slope is not None and self.linear_slope <= 0:
            problem = "linear_slope is not above 0, so the toe does not rise"
        elif self.linear_slope is not None and self.lin_side_break is None:
            problem = "linear_slope has no lin_side_break to start from"
        elif self._is_undefined_at_break():
            problem = "the logarithm is not defined at lin_side_break"
        if problem:
            raise DefinitionError(problem, where=f"curve {self.name!r}", accepted="a rising curve")

    @property
    def toe_end(self) -> float:
        """The light at which the toe ends and the logarithm begins."""
        if self.lin_side_break is not None:
            return self.lin_side_break
        return (self.FLOOR - self.lin_side_offset) / self.lin_side_slope

    def _encode(self, light: Array) -> Array:
        return self._above_line(light, self.toe_end)

    def _decode(self, signal: Array) -> Array:
        return self._undone_above_line(signal, self.toe_end)


CURVES = (AcesCc(), AcesCct(), PrintingDensity())
"""The curves of this file that are in the catalogue."""
