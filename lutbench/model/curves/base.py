"""What every transfer curve offers."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from lutbench.model.transforms import Array, Transform, plain

MID_GREY = 0.18
"""Reflectance of mid grey; 1.0 is a perfect white diffuser."""


@dataclass(frozen=True)
class Curve:
    """A transfer curve between light and signal (full range: code / (2^n - 1)).

    `encode` takes light (0.18 is mid grey, 1.0 a perfect white diffuser, or for
    a display curve the light that shows it) to signal; `decode` goes back. Both
    take any shape and give float64. Both are defined on the whole real line and
    never fall; NaN gives NaN.

    `family` is ``log``, ``camera`` (an OETF), ``display`` (the inverse of an
    EOTF) or ``linear``.
    """

    name: str
    family: ClassVar[str] = "camera"
    source: ClassVar[str] = ""
    note: ClassVar[str] = ""
    shown: ClassVar[bool] = False
    """Whether pictures are watched in these signals, on a display made for them."""
    hdr: ClassVar[bool] = False
    """Whether it shows light over diffuse white: PQ and HLG."""

    def encode(self, light: ArrayLike) -> Array:
        """Signal of light."""
        return self._encode(np.asarray(light, dtype=np.float64))

    def decode(self, signal: ArrayLike) -> Array:
        """Light of signal."""
        return self._decode(np.asarray(signal, dtype=np.float64))

    def _encode(self, light: Array) -> Array:
        raise NotImplementedError

    def _decode(self, signal: Array) -> Array:
        raise NotImplementedError

    @property
    def mid_grey(self) -> float:
        """The signal of mid grey."""
        return float(self.encode(MID_GREY))

    @property
    def clip(self) -> float:
        """The light of signal 1: the brightest that is recorded in full range."""
        return float(self.decode(1.0))

    def to_data(self) -> dict[str, Any]:
        """Name, family and parameters as plain data."""
        return {"family": self.family} | {
            field.name: plain(getattr(self, field.name)) for field in fields(self)
        }


@dataclass(frozen=True)
class Decode(Transform):
    """Signal to light, each channel through the curve's `decode`."""

    curve: Curve
    kind: ClassVar[str] = "decode"

    def _apply(self, rgb: Array) -> Array:
        return self.curve.decode(rgb)

    def inverse(self) -> Encode:
        return Encode(self.curve)

    def __repr__(self) -> str:
        return f"Decode({self.curve.name!r})"


@dataclass(frozen=True)
class Encode(Transform):
    """Light to signal, each channel through the curve's `encode`."""

    curve: Curve
    kind: ClassVar[str] = "encode"

    def _apply(self, rgb: Array) -> Array:
        return self.curve.encode(rgb)

    def inverse(self) -> Decode:
        return Decode(self.curve)

    def __repr__(self) -> str:
        return f"Encode({self.curve.name!r})"


def mirrored(function: Any, value: Array) -> Array:
    """`function` of |value| with the sign of `value`: an odd extension below zero."""
    return np.asarray(np.copysign(function(np.abs(value)), value))
