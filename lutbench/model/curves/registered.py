"""Curves that colour-science registers, under their own names."""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from lutbench.model.curves.base import Curve
from lutbench.model.light import SCENE, Light
from lutbench.model.signal import Range
from lutbench.model.transforms import Array


@dataclass(frozen=True)
class RegistryCurve(Curve):
    """A log encoding or OETF of colour-science.

    Where the registered function has no value (the logarithm of zero or less)
    light is held at what signal -1, or if need be 0, decodes to.
    """

    encoder: Callable[[Any], Any] = field(default=lambda x: x, repr=False, compare=False)
    decoder: Callable[[Any], Any] = field(default=lambda x: x, repr=False, compare=False)
    is_log: bool = True
    source: ClassVar[str] = "colour-science registry"

    @property
    def registry(self) -> str:
        """Which registry holds it: ``log encoding`` or ``OETF``."""
        return "log encoding" if self.is_log else "OETF"

    def _call(self, function: Callable[[Any], Any], value: Array) -> Array:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            return np.asarray(function(value), dtype=np.float64).reshape(value.shape)

    @cached_property
    def _floor(self) -> float:
        """The least light that has a finite signal, or minus infinity."""
        below = self._call(self.encoder, np.array([-1.0, -0.01, 0.0]))
        if np.isfinite(below).all():
            return -np.inf
        for signal in (-1.0, 0.0):
            light = self._call(self.decoder, np.array(signal))
            if light > 0 and abs(float(self._call(self.encoder, light)) - signal) < 1e-3:
                return float(light)
        return float(self._call(self.decoder, np.array(0.0)))

    def _encode(self, light: Array) -> Array:
        return self._call(self.encoder, np.maximum(light, self._floor))

    def _decode(self, signal: Array) -> Array:
        return self._call(self.decoder, signal)

    @property
    def codes(self) -> Range:
        """As of every curve; a television standard lays its signal out on legal codes."""
        return "legal" if self.name in OTHER_SCALES else super().codes

    @cached_property
    def kind_of_light(self) -> Light:
        """Scene light; where 1.0 is the highest code, or half of the signal, it says so."""
        if self.name in OTHER_SCALES:
            return OTHER_SCALES[self.name].light
        return PEAK if self.clip <= 1 + 1e-6 else SCENE

    @property
    def note(self) -> str:  # type: ignore[override]
        """What to know before its levels are read, where light 1.0 is no white card."""
        if self.name in OTHER_SCALES:
            return OTHER_SCALES[self.name].note
        return PEAK_NOTE if self.kind_of_light == PEAK else ""

    def to_data(self) -> dict[str, Any]:
        return {
            "family": self.family,
            "codes": self.codes,
            "name": self.name,
            "registry": self.registry,
        }


@dataclass(frozen=True)
class RegistryLog(RegistryCurve):
    """A log encoding of colour-science."""

    family: ClassVar[str] = "log"


PEAK = Light("scene", "the brightest that is recorded")
PEAK_NOTE = "Light 1.0 is the brightest that this curve records: a white card need not lie there."


@dataclass(frozen=True)
class Scale:
    """A registered curve's scale of light, and what to know of it."""

    light: Light
    note: str


OTHER_SCALES = {
    # ARIB STD-B67: the level of reference white is half of the video level.
    "ARIB STD-B67": Scale(
        Light("scene", "at 50 % of the signal"),
        "The signal of BT.2100 HLG with light 1.0 at 50 %: BT.2100 HLG has grey at 38 % and white "
        "at 75 %, as BT.2408 has them.",
    )
}
"""Television standards that are registered on a scale of their own."""

ROUNDED = {"ACESproxy": "ACEScc with range legal"}
"""What to name in place of a registered curve that gives whole codes. ACESproxy (Academy
S-2013-001) rounds the legal codes of ACEScc (S-2014-003)."""


def curves_of(colour: Any) -> tuple[dict[str, Curve], dict[str, str]]:
    """The curves and the reasons, from the registries of `colour`."""
    curves: dict[str, Curve] = {}
    missing: dict[str, str] = {}
    for kind, encoders, decoders, lacking in (
        (RegistryLog, colour.LOG_ENCODINGS, colour.LOG_DECODINGS, "no decoding is registered"),
        (RegistryCurve, colour.OETFS, colour.OETF_INVERSES, "no inverse is registered"),
    ):
        for name, encoder in encoders.items():
            if name in curves or name in missing:
                continue
            if name not in decoders:
                missing[name] = lacking
                continue
            curves[name] = kind(
                name,
                encoder,
                decoders[name],
                kind is RegistryLog,
                formula_codes=published_codes(name, encoder),
            )
    return curves, missing


def published_codes(name: str, encoder: Callable[..., Any]) -> Range:
    """Whether what a registered function gives, times 1023, is a full-range or a legal code.

    Functions with a parameter ``out_normalised_code_value`` give legal code values
    over 2^n - 1 where that is true, which is its default, and the signal (IRE / 100)
    where it is false. What gives whole codes from 64 to 940 (`ROUNDED`) gives legal ones. All
    others give the signal.
    """
    if name in ROUNDED:
        return "legal"
    parameter = inspect.signature(encoder).parameters.get("out_normalised_code_value")
    return "legal" if parameter is not None and parameter.default else "full"
