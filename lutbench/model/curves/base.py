"""What every transfer curve offers."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import LutbenchError
from lutbench.given import numbers
from lutbench.model.light import DISPLAY, SCENE, Display, Light, Side
from lutbench.model.signal import Range, full_scale_from_signal, signal_from_full_scale
from lutbench.model.transforms import Array, Transform, plain

Weights = tuple[float, float, float]
"""The share of R, G and B in luminance."""

MID_GREY = 0.18
"""Reflectance of mid grey; 1.0 is a perfect white diffuser."""


@dataclass(frozen=True)
class Curve:
    """A transfer curve between light and signal.

    `encode` takes light to signal, 0 at nominal black and 1 at nominal white, so
    that 100 times the signal is the percent of a waveform; `decode` is its inverse. Both
    take any shape and give float64. Both are defined on the whole real line and
    never fall; NaN gives NaN. `kind_of_light` says which side the light is on and what its
    1.0 stands for; mid grey of a scene is 0.18.

    Subclasses implement `_encode` and `_decode` with the formula as its source publishes it.
    `formula_codes` says what the formula's values times 2^n - 1 are: ``full`` range codes,
    so that the value is the signal, or ``legal`` codes, which are converted here and nowhere
    else.

    `family` is ``log``, ``camera`` (an OETF), ``display`` (the inverse of an
    EOTF) or ``linear``.
    """

    name: str
    formula_codes: Range = field(default="full", kw_only=True)
    family: ClassVar[str] = "camera"
    source: ClassVar[str] = ""
    note: ClassVar[str] = ""
    television: ClassVar[bool] = False
    """Whether it is a curve of television, whose standards use legal codes."""
    shown: ClassVar[bool] = False
    """Whether displays show signals with this curve."""
    hdr: ClassVar[bool] = False
    """Whether it encodes light above diffuse white for a display: PQ and HLG."""
    has_ootf: ClassVar[bool] = False
    """Whether its standard defines an OOTF from scene light to display light: PQ and HLG."""
    takes_black: ClassVar[bool] = False
    """Whether the light of a signal depends on the display's black level."""
    scene_name: ClassVar[str] = ""
    """For a display curve: the curve of the same signal for scene light; empty without one."""

    def __post_init__(self) -> None:
        if type(self) is Curve:
            raise LutbenchError(
                "has no formula: it is what all curves have in common",
                where="Curve",
                accepted='one of the catalogue, as in curves()["ACEScct"].curve',
            )

    @property
    def codes(self) -> Range:
        """Whether the code values that its source publishes are in full or legal range.

        >>> from lutbench.model.curves.log import AcesCct
        >>> from lutbench.model.curves.video import Bt709
        >>> AcesCct().codes, Bt709().codes
        ('full', 'legal')
        """
        return "legal" if self.television else self.formula_codes

    @property
    def kind_of_light(self) -> Light:
        """Which side the light is on, and what 1.0 stands for."""
        return DISPLAY if self.family == "display" else SCENE

    @property
    def display_white(self) -> float | None:
        """cd/m² of display light 1.0 if the standard defines it, else None."""
        return None

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform | None:
        """Signal to linear light of a side; None if the standard does not define it.

        `display` is the named display, if any; `weights` are the luminance weights of the
        signal's gamut.
        """
        return Decode(self) if side == self.kind_of_light.side else None

    def encode(self, light: ArrayLike) -> Array:
        """Light to signal, any shape."""
        value = self._encode(numbers(light, "light"))
        return value if self.formula_codes == "full" else signal_from_full_scale(value)

    def decode(self, signal: ArrayLike) -> Array:
        """Signal to light, any shape."""
        value = numbers(signal, "signal")
        return self._decode(
            value if self.formula_codes == "full" else full_scale_from_signal(value)
        )

    def _encode(self, light: Array) -> Array:
        raise NotImplementedError

    def _decode(self, signal: Array) -> Array:
        raise NotImplementedError

    @property
    def mid_grey(self) -> float:
        """The signal of mid grey."""
        return float(self.encode(MID_GREY))

    @property
    def ends(self) -> tuple[float, float]:
        """The signals of the lowest and the highest code for which the curve is published.

        0 and 1; for a curve in legal codes the signals of the 10-bit codes 0 and 1023.

        >>> from lutbench.model.curves.log import AcesCct
        >>> AcesCct().ends
        (0.0, 1.0)
        """
        if self.formula_codes == "full":
            return 0.0, 1.0
        low, high = signal_from_full_scale(np.array([0.0, 1.0])).tolist()
        return low, high

    @property
    def clip(self) -> float:
        """The light of the highest code, which is the brightest that is recorded."""
        return float(self.decode(self.ends[1]))

    def brightest_signal(self, display: Display | None) -> float:
        """The highest signal that the display can show; without one, that of the highest code."""
        return self.ends[1]

    def to_data(self) -> dict[str, Any]:
        """Name, family, coding convention and parameters as plain data."""
        return {"family": self.family, "codes": self.codes} | {
            each.name: plain(getattr(self, each.name))
            for each in fields(self)
            if each.name != "formula_codes"
        }


@dataclass(frozen=True, eq=False)
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


@dataclass(frozen=True, eq=False)
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
