"""A curve given as a table of light and signal."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.files import read_bytes
from lutbench.model.curves.base import Curve
from lutbench.model.interpolation import Pchip
from lutbench.model.transforms import Array

LINEAR_BELOW_LIGHT = 0.01
"""Light: below it the scale of the spline is linear in light, above it in stops."""

MAX_ROWS = 65536
"""Rows of a table: as many as a 1D LUT may have."""

LARGEST_VALUE = 1e6
"""Largest light or signal in a row: no curve that records a scene goes so far."""

NEAREST = 1e-12
"""Least distance of two rows: with less the slopes overflow."""

MAX_BYTES = 16 * 2**20
"""Bytes of a CSV file: 65536 rows of two numbers take a few megabytes."""


@dataclass(frozen=True)
class Tabulated(Curve):
    """A monotone cubic through measured points (PCHIP: Fritsch and Carlson, 1980).

    The points are interpolated in signal against asinh(light / 0.01), which is logarithmic
    in the highlights and linear near black; outside the table the curve continues along
    its end slopes.
    """

    light: tuple[float, ...] = ()
    signal: tuple[float, ...] = ()
    family: ClassVar[str] = "log"
    source: ClassVar[str] = "a table given by the user"

    def __post_init__(self) -> None:
        light, signal = np.array(self.light, float), np.array(self.signal, float)
        problem = ""
        if light.shape != signal.shape or light.ndim != 1:
            problem = f"{light.size} values of light and {signal.size} of signal"
        elif not 3 <= light.size <= MAX_ROWS:
            problem = f"{light.size} rows"
        elif not (np.isfinite(light).all() and np.isfinite(signal).all()):
            problem = "a value is not finite"
        elif not (np.diff(light) > 0).all() or not (np.diff(signal) > 0).all():
            row = int(np.argmax((np.diff(light) <= 0) | (np.diff(signal) <= 0))) + 2
            problem = f"not monotone at row {row}"
        elif max(np.abs(light).max(), np.abs(signal).max()) > LARGEST_VALUE:
            problem = f"a value beyond {LARGEST_VALUE:g}"
        elif (
            min(np.diff(signal).min(), np.diff(np.arcsinh(light / LINEAR_BELOW_LIGHT)).min())
            < NEAREST
        ):
            problem = "two rows are almost equal"
        if problem:
            raise DefinitionError(
                problem,
                where=f"curve {self.name!r}",
                accepted=f"3 to {MAX_ROWS} finite rows of light and signal, both rising",
            )

    @cached_property
    def _spline(self) -> Pchip:
        return Pchip(np.array(self.signal), np.arcsinh(np.array(self.light) / LINEAR_BELOW_LIGHT))

    def _stops(self, signal: Array) -> Array:
        low, high = self.signal[0], self.signal[-1]
        inner = self._spline(np.clip(signal, low, high))
        slopes = self._spline.slope(np.array([low, high]))
        below = np.minimum(signal - low, 0) * self._end_slope(slopes[0], 0)
        above = np.maximum(signal - high, 0) * self._end_slope(slopes[1], -2)
        return np.asarray(inner + below + above)

    def _end_slope(self, slope: float, segment: int) -> float:
        """The slope at an end; the chord of the end segment if PCHIP gives a slope of zero."""
        if slope > 1e-9:
            return float(slope)
        at = np.arange(len(self.signal))[segment]
        u = np.arcsinh(np.array(self.light[at : at + 2]) / LINEAR_BELOW_LIGHT)
        return float((u[1] - u[0]) / (self.signal[at + 1] - self.signal[at]))

    def _decode(self, signal: Array) -> Array:
        return np.asarray(LINEAR_BELOW_LIGHT * np.sinh(np.clip(self._stops(signal), -300.0, 300.0)))

    def _encode(self, light: Array) -> Array:
        # The spline has no closed inverse. It rises, so bisection works, and 60 halvings reach
        # the precision of float64.
        wanted = np.arcsinh(light / LINEAR_BELOW_LIGHT)
        low = np.full(light.shape, self.signal[0] - 4.0)
        high = np.full(light.shape, self.signal[-1] + 4.0)
        for _ in range(60):
            middle = (low + high) / 2
            under = self._stops(middle) < wanted
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        result = (low + high) / 2
        return np.where(np.isnan(light), np.nan, result)


def read_curve_csv(path: str | Path, name: str) -> Tabulated:
    """A curve from a CSV file with the columns light and signal; it may have a header line.

    Raises
    ------
    DefinitionError
        When the file is not such a table, with the line.
    """
    file = Path(path)
    try:
        text = read_bytes(file, limit=MAX_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DefinitionError("is not UTF-8 text", where=file) from error
    light: list[float] = []
    signal: list[float] = []
    # Numbers contain no comma, so each line is a row, with or without quotation marks.
    for number, row in enumerate(text.splitlines(), 1):
        cells = [cell.strip().strip('"') for cell in row.split(",")]
        if not any(cells) or cells[0].startswith("#"):
            continue
        try:
            x, y = map(float, cells)
        except ValueError:
            if not light and number <= 2:
                continue
            raise DefinitionError(
                f"{row[:60]!r} is not a row of the table",
                where=f"{file}:{number}",
                accepted="two numbers: light,signal",
            ) from None
        light.append(x)
        signal.append(y)
    return Tabulated(name, tuple(light), tuple(signal))
