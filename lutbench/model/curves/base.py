"""What every transfer curve offers."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

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
    that 100 times the signal is the percent of a waveform; `decode` goes back. Both
    take any shape and give float64. Both are defined on the whole real line and
    never fall; NaN gives NaN. `kind_of_light` says which side the light is on and what its
    1.0 stands for; mid grey of a scene is 0.18.

    Subclasses give `_encode` and `_decode`, the formula as its source publishes it.
    `formula_codes` says what the formula's values times 2^n - 1 are: ``full`` range
    codes, so that the value is the signal, or ``legal`` codes, whose scale is then
    taken out here and nowhere else.

    `family` is ``log``, ``camera`` (an OETF), ``display`` (the inverse of an
    EOTF) or ``linear``.
    """

    name: str
    formula_codes: Range = field(default="full", kw_only=True)
    family: ClassVar[str] = "camera"
    source: ClassVar[str] = ""
    note: ClassVar[str] = ""
    television: ClassVar[bool] = False
    """Whether it is a curve of television, whose standards lay the signal out on legal codes."""
    shown: ClassVar[bool] = False
    """Whether pictures are watched in these signals, on a display made for them."""
    hdr: ClassVar[bool] = False
    """Whether it shows light over diffuse white: PQ and HLG."""
    has_ootf: ClassVar[bool] = False
    """Whether its standard ties scene light to display light: PQ and HLG (BT.2100)."""
    takes_black: ClassVar[bool] = False
    """Whether a display's black level changes what the signal shows."""
    scene_name: ClassVar[str] = ""
    """For a display curve: the curve of the same signals on scene light, where there is one."""

    @property
    def codes(self) -> Range:
        """The coding convention: the code values that its source publishes are full or legal.

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
        """cd/m² of display light 1.0 where the standard tells it, else None."""
        return None

    def to_light(self, side: Side, display: Display | None, weights: Weights) -> Transform | None:
        """Signal to linear light of a side, or None where the standard does not tell the way.

        `display` is the one that is named, `weights` are the luminance weights of the
        signal's gamut.
        """
        return Decode(self) if side == self.kind_of_light.side else None

    def encode(self, light: ArrayLike) -> Array:
        """Signal of light."""
        value = self._encode(np.asarray(light, dtype=np.float64))
        return value if self.formula_codes == "full" else signal_from_full_scale(value)

    def decode(self, signal: ArrayLike) -> Array:
        """Light of signal."""
        value = np.asarray(signal, dtype=np.float64)
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
        """The signals of the lowest and the highest code that the curve is published for.

        0 and 1, or for legal codes what code 0 and code 1023 of ten bits are.

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
        """The light of the highest code: the brightest that is recorded."""
        return float(self.decode(self.ends[1]))

    def brightest_signal(self, display: Display | None) -> float:
        """The highest signal there is anything to see in."""
        return self.ends[1]

    def to_data(self) -> dict[str, Any]:
        """Name, family, coding convention and parameters as plain data."""
        return {"family": self.family, "codes": self.codes} | {
            each.name: plain(getattr(self, each.name))
            for each in fields(self)
            if each.name != "formula_codes"
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
