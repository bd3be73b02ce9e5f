"""Signal ranges: code values, full and legal range, percent.

Full range of n bits: signal = code / (2^n - 1).
Legal (narrow) range: signal = (code - 16·2^(n-8)) / (219·2^(n-8)); ten bits: (code - 64) / 876.
Source: Recommendation ITU-R BT.709-6, item 5.6; Recommendation ITU-R BT.2100-2, table 9.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import LutbenchError
from lutbench.given import one_of
from lutbench.model.transforms import Array, Transform

Range = Literal["full", "legal"]
RANGES: tuple[Range, ...] = ("full", "legal")

BIT_DEPTHS = (8, 10, 12, 16)
"""Bit depths of codes."""

CODES_10_BIT = 1023.0
"""10-bit codes from signal 0 to signal 1 in full range: most errors are in this unit."""


def check_range(name: object, where: str = "") -> Range:
    """`name` as a signal range, in any letter case; LutbenchError if it is not one."""
    return one_of("signal range", name, RANGES, where)  # type: ignore[return-value]


def range_of(bits: int, name: Range) -> tuple[float, float]:
    """The code values of signal 0 and signal 1.

    >>> range_of(10, "legal")
    (64.0, 940.0)
    """
    name = check_range(name)
    if not isinstance(bits, int) or isinstance(bits, bool) or bits not in BIT_DEPTHS:
        raise LutbenchError(
            f"{bits!r:.40} bits is not a bit depth of a signal",
            accepted=", ".join(map(str, BIT_DEPTHS)),
        )
    if name == "full":
        return 0.0, float(2**bits - 1)
    unit = 2 ** (bits - 8)
    return 16.0 * unit, 235.0 * unit


def code_from_signal(
    signal: ArrayLike, bits: int = 10, name: Range = "full", *, headroom: bool = True
) -> Array:
    """Code values, not rounded; clamped to 0 .. 2^bits - 1, or without `headroom` to signal 0..1.

    >>> code_from_signal([0.0, 0.5, 1.09], 10, "legal").tolist()
    [64.0, 502.0, 1018.84]
    """
    low, high = range_of(bits, name)
    code = low + np.asarray(signal, dtype=np.float64) * (high - low)
    limits = (0.0, 2.0**bits - 1) if headroom else (low, high)
    return np.clip(code, *limits)


def signal_from_code(code: ArrayLike, bits: int = 10, name: Range = "full") -> Array:
    """Signal of code values; in legal range below 0 in the footroom and above 1 in the headroom.

    >>> float(signal_from_code(1019, 10, "legal").round(3))
    1.09
    """
    low, high = range_of(bits, name)
    return np.asarray((np.asarray(code, dtype=np.float64) - low) / (high - low))


def signal_from_full_scale(value: ArrayLike) -> Array:
    """Signal of full-scale values (code / 1023) of 10-bit legal codes.

    >>> signal_from_full_scale([64 / 1023, 940 / 1023]).round(12).tolist()
    [0.0, 1.0]
    """
    return signal_from_code(np.asarray(value, dtype=np.float64) * 1023, 10, "legal")


def full_scale_from_signal(signal: ArrayLike) -> Array:
    """Full-scale values (code / 1023) of 10-bit legal codes: inverts `signal_from_full_scale`."""
    low, high = range_of(10, "legal")
    return np.asarray((low + np.asarray(signal, dtype=np.float64) * (high - low)) / 1023)


@dataclass(frozen=True)
class RangeStep(Transform):
    """A step between signal and the full-scale values (code / (2^bits - 1)) of a range."""

    range: Range = "full"
    bits: int = 10

    def __post_init__(self) -> None:
        object.__setattr__(self, "range", check_range(self.range))
        range_of(self.bits, self.range)


@dataclass(frozen=True)
class SignalFromRange(RangeStep):
    """From full-scale values (code / (2^bits - 1)) of a range to signal, with headroom.

    >>> SignalFromRange("legal").apply([64 / 1023, 502 / 1023, 940 / 1023]).round(12).tolist()
    [0.0, 0.5, 1.0]
    """

    kind: ClassVar[str] = "signal_from_range"

    def _apply(self, rgb: Array) -> Array:
        return signal_from_code(rgb * (2**self.bits - 1), self.bits, self.range)

    def inverse(self) -> RangeFromSignal:
        return RangeFromSignal(self.range, self.bits)


@dataclass(frozen=True)
class RangeFromSignal(RangeStep):
    """From signal to full-scale values (code / (2^bits - 1)) of a range, with headroom."""

    kind: ClassVar[str] = "range_from_signal"

    def _apply(self, rgb: Array) -> Array:
        low, high = range_of(self.bits, self.range)
        return np.asarray((low + rgb * (high - low)) / (2**self.bits - 1))

    def inverse(self) -> SignalFromRange:
        return SignalFromRange(self.range, self.bits)


def range_step(present: Range, wanted: Range, bits: int) -> tuple[Transform, ...]:
    """The step from full-scale values of one range to another; none if they are the same."""
    if present == wanted:
        return ()
    return (
        SignalFromRange(present, bits) if present == "legal" else RangeFromSignal(wanted, bits),
    )


@dataclass(frozen=True)
class RangeChange:
    """The signal ranges of a LUT's input and output now, and those that they are to have.

    None for a range that does not change; `bits` is the depth of a legal range.

    Raises
    ------
    LutbenchError
        When one of them is not a range.
    """

    given_source_range: Range = "full"
    given_target_range: Range = "full"
    source_range: Range | None = None
    target_range: Range | None = None
    bits: int = 10

    def __post_init__(self) -> None:
        for each in fields(self)[:4]:
            if (value := getattr(self, each.name)) is not None:
                object.__setattr__(self, each.name, check_range(value, each.name))

    @property
    def before(self) -> tuple[Transform, ...]:
        """The step from the new input range to that of the LUT."""
        return range_step(
            self.source_range or self.given_source_range, self.given_source_range, self.bits
        )

    @property
    def after(self) -> tuple[Transform, ...]:
        """The step from the LUT's output range to the new one."""
        return range_step(
            self.given_target_range, self.target_range or self.given_target_range, self.bits
        )
