"""The operators of the Common LUT Format that the colour model has no step for.

Formulas: Academy S-2014-006 (Common LUT Format), version 3.0, later SMPTE ST 2136-1;
from memory, and checked against colour-science's functions in the tests. Values are
normalised: 1.0 is the full scale of a bit depth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.curves.log import LogAndLine
from lutbench.model.transforms import Array, Transform, read_only
from lutbench.tables.shaping import half_floats


@dataclass(frozen=True)
class Range(Transform):
    """Values scaled so that `min_in` becomes `min_out` and `max_in` becomes `max_out`.

    With `clamp` the result is clamped to `min_out` and `max_out`. One pair may be missing
    (None): then nothing is scaled, and the result is clamped on one side only.

    >>> Range(0.0, 1.0, 64 / 1023, 940 / 1023).apply([0.0, 0.5, 2.0]).round(4).tolist()
    [0.0626, 0.4907, 0.9189]
    """

    min_in: float | None = None
    max_in: float | None = None
    min_out: float | None = None
    max_out: float | None = None
    clamp: bool = True
    kind: ClassVar[str] = "range"

    def __post_init__(self) -> None:
        low = (self.min_in, self.min_out)
        high = (self.max_in, self.max_out)
        given = [value for value in (*low, *high) if value is not None]
        problem = ""
        if (None in low and low != (None, None)) or (None in high and high != (None, None)):
            problem = "a limit of the input has no limit of the output, or the reverse"
        elif not given:
            problem = "no limit at all"
        elif not all(map(math.isfinite, given)):
            problem = "a limit is not finite"
        elif len(given) == 4 and not (self.min_in < self.max_in and self.min_out <= self.max_out):  # type: ignore[operator]
            problem = "a minimum is not under its maximum"
        elif len(given) == 2 and not self.clamp:
            problem = "without clamping both pairs of limits are needed"
        elif len(given) == 2 and not math.isclose(given[0], given[1], rel_tol=1e-6, abs_tol=1e-9):
            problem = "with one pair of limits both are the same value"
        if problem:
            raise DefinitionError(
                problem, where="Range", accepted="minimum and maximum, in and out"
            )

    def _apply(self, rgb: Array) -> Array:
        value = rgb
        if None not in (self.min_in, self.max_in, self.min_out, self.max_out):
            scale = (self.max_out - self.min_out) / (self.max_in - self.min_in)  # type: ignore[operator]
            value = rgb * scale + (self.min_out - self.min_in * scale)  # type: ignore[operator]
        return np.clip(value, self.min_out, self.max_out) if self.clamp else value

    def inverse(self) -> Range:
        """The reverse scaling; clamped values are not restored."""
        if self.min_out == self.max_out:
            raise NotInvertibleError(f"{self!r} gives one value and has no inverse")
        return Range(self.min_out, self.max_out, self.min_in, self.max_in, self.clamp)


@dataclass(frozen=True)
class Log(LogAndLine, Transform):
    """A logarithm (`forward`) or its inverse: see `LogAndLine`; without a break it has no line.

    >>> Log(base=10.0).apply([1.0, 10.0, 100.0]).tolist()
    [0.0, 1.0, 2.0]
    """

    base: float = 2.0
    log_side_slope: float = 1.0
    log_side_offset: float = 0.0
    lin_side_slope: float = 1.0
    lin_side_offset: float = 0.0
    lin_side_break: float | None = None
    linear_slope: float | None = None
    forward: bool = True
    kind: ClassVar[str] = "log"

    def __post_init__(self) -> None:
        problem = ""
        if not self._is_finite():
            problem = "a parameter is not finite"
        elif self.base <= 0 or self.base == 1:
            problem = f"{self.base:g} is not a base"
        elif self.log_side_slope == 0 or self.lin_side_slope == 0 or self.linear_slope == 0:
            problem = "a slope is 0"
        elif self.linear_slope is not None and self.lin_side_break is None:
            problem = "a linear slope without a break"
        elif self._is_undefined_at_break():
            problem = "the logarithm is not defined at the break"
        if problem:
            raise DefinitionError(
                problem, where="Log", accepted="base over 0 and not 1, slopes other than 0"
            )

    def _apply(self, rgb: Array) -> Array:
        at = self.lin_side_break
        if at is None:
            return self._log(rgb) if self.forward else self._antilog(rgb)
        return self._above_line(rgb, at) if self.forward else self._undone_above_line(rgb, at)

    def inverse(self) -> Log:
        return replace(self, forward=not self.forward)


@dataclass(frozen=True)
class Exponent(Transform):
    """A power (`forward`) or its inverse, optionally with an offset and a linear part near zero.

    Without ``offset`` (``basic``): y = x^exponent; negative values give, by `negative`,
    0 (``"plain"``), -|x|^exponent (``"mirror"``) or x (``"pass"``).
    With it (``monCurve``): y = ((x + offset)/(1 + offset))^exponent above a break, and below
    it the line through the origin with the same slope at the break; for negative values the
    line continues (``"plain"``) or the curve is mirrored (``"mirror"``).

    >>> Exponent(2.4, 0.055).apply([0.5, 1.0, 0.01]).round(6).tolist()
    [0.214041, 1.0, 0.000774]
    """

    exponent: float = 1.0
    offset: float | None = None
    negative: str = "plain"
    forward: bool = True
    kind: ClassVar[str] = "exponent"

    def __post_init__(self) -> None:
        if self.offset is None:
            fits = 0.01 <= self.exponent <= 100 and self.negative in ("plain", "mirror", "pass")
        else:
            fits = 0 <= self.offset <= 0.9 and 1 <= self.exponent <= 10
            # With an exponent of 1 there is no break, and an offset has no effect.
            fits = fits and (self.exponent > 1 or self.offset == 0)
            fits = fits and self.negative in ("plain", "mirror")
        if not fits:
            raise DefinitionError(
                f"exponent {self.exponent:g}, offset {self.offset} are out of range",
                where="Exponent",
                accepted="0.01 to 100; with an offset (0 to 0.9) 1 to 10",
            )

    def _positive(self, x: Array) -> Array:
        g, f = self.exponent, self.offset
        if not f:
            return np.asarray(np.maximum(x, 0) ** (g if self.forward else 1 / g))
        at = f / (g - 1)
        level = (at * g / (1 + f)) ** g
        slope = level / at
        if self.forward:
            curve = ((np.maximum(x, at) + f) / (1 + f)) ** g
            return np.asarray(np.where(x >= at, curve, x * slope))
        curve = np.asarray((1 + f) * np.maximum(x, level) ** (1 / g) - f)
        return np.asarray(np.where(x >= level, curve, x / slope))

    def _apply(self, rgb: Array) -> Array:
        if self.negative == "mirror":
            return np.asarray(np.copysign(self._positive(np.abs(rgb)), rgb))
        value = self._positive(rgb)
        return np.where((rgb < 0) & (self.negative == "pass"), rgb, value)

    def inverse(self) -> Exponent:
        return replace(self, forward=not self.forward)


@dataclass(frozen=True)
class Channels(Transform):
    """A separate step for each channel; None leaves the channel unchanged."""

    red: Log | Exponent | None = None
    green: Log | Exponent | None = None
    blue: Log | Exponent | None = None
    kind: ClassVar[str] = "channels"

    @property
    def steps(self) -> tuple[Log | Exponent | None, ...]:
        """The steps in the order R G B."""
        return self.red, self.green, self.blue

    def _apply(self, rgb: Array) -> Array:
        out = rgb.copy()
        for channel, step in enumerate(self.steps):
            if step is not None:
                out[..., channel] = step._apply(rgb[..., channel])
        return out

    def inverse(self) -> Channels:
        return Channels(*(None if step is None else step.inverse() for step in self.steps))


@dataclass(frozen=True, eq=False, repr=False)
class HalfLut1D(Transform):
    """A 1D LUT with one row for each of the 65536 half-floats, in the order of their bits.

    Inputs between two half-floats are interpolated linearly; NaN gives NaN.
    """

    table: NDArray[np.float64]
    """Shape (65536, 3); finite for finite inputs."""
    title: str = field(default="", compare=False)
    kind: ClassVar[str] = "half_lut1d"

    ROWS: ClassVar[int] = 65536

    def __post_init__(self) -> None:
        if self.table.shape != (self.ROWS, 3):
            raise DefinitionError(
                f"a half-domain LUT of shape {self.table.shape}", accepted=f"({self.ROWS}, 3)"
            )
        # The rows for NaN and infinities are never used.
        if not np.isfinite(self.table[self._ascending()[1]]).all():
            raise DefinitionError("a half-domain LUT is not finite", accepted="finite numbers")
        object.__setattr__(self, "table", read_only(self.table))

    @staticmethod
    def _ascending() -> tuple[Array, NDArray[np.intp]]:
        """The finite half-floats in rising order, with zero once, and the row of each."""
        inputs = half_floats(-np.inf, np.inf)
        return inputs, inputs.astype(np.float16).view(np.uint16).astype(np.intp)

    @classmethod
    def through(cls, inputs: Array, outputs: Array) -> HalfLut1D:
        """The curve through rising `inputs` and their `outputs`, shape (n,), for all channels.

        Outside its ends it is constant; infinities get the values of the ends, NaN that of zero.

        >>> HalfLut1D.through(np.array([0.0, 2.0]), np.array([0.0, 1.0])).apply([1, 2, 9]).tolist()
        [0.5, 1.0, 1.0]
        """
        every = np.arange(cls.ROWS, dtype=np.uint16).view(np.float16).astype(np.float64)
        rows = np.interp(np.where(np.isnan(every), 0.0, every), inputs, outputs)
        return cls(np.repeat(rows[:, None], 3, axis=1))

    def _apply(self, rgb: Array) -> Array:
        inputs, rows = self._ascending()
        columns = [np.interp(rgb[..., c], inputs, self.table[rows, c]) for c in range(3)]
        return np.where(np.isnan(rgb), np.nan, np.stack(columns, axis=-1))

    def __repr__(self) -> str:
        return f"HalfLut1D(title={self.title!r})"

    def to_data(self) -> dict[str, Any]:
        return {"kind": self.kind, "title": self.title, "size": self.ROWS}
