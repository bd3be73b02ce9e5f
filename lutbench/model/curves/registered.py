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


def called(function: Callable[..., Any], value: Array) -> Array:
    """What a function of colour-science gives, without its warnings."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        return np.asarray(function(value), dtype=np.float64).reshape(value.shape)


@dataclass(frozen=True)
class RegistryCurve(Curve):
    """A log encoding or OETF of colour-science.

    Where the registered function is not defined (the logarithm of zero or less), light is
    clamped to that of signal -1, or of signal 0 if that is not defined either.
    """

    encoder: Callable[[Any], Any] = field(default=lambda x: x, repr=False, compare=False)
    decoder: Callable[[Any], Any] = field(default=lambda x: x, repr=False, compare=False)
    is_log: bool = True
    source: ClassVar[str] = "colour-science registry"

    @property
    def registry(self) -> str:
        """The registry that it is in: ``log encoding`` or ``OETF``."""
        return "log encoding" if self.is_log else "OETF"

    @cached_property
    def _floor(self) -> float:
        """The least light that has a finite signal, or minus infinity."""
        below = called(self.encoder, np.array([-1.0, -0.01, 0.0]))
        if np.isfinite(below).all():
            return -np.inf
        for signal in (-1.0, 0.0):
            light = called(self.decoder, np.array(signal))
            if light > 0 and abs(float(called(self.encoder, light)) - signal) < 1e-3:
                return float(light)
        return float(called(self.decoder, np.array(0.0)))

    def _encode(self, light: Array) -> Array:
        return called(self.encoder, np.maximum(light, self._floor))

    def _decode(self, signal: Array) -> Array:
        return called(self.decoder, signal)

    @property
    def codes(self) -> Range:
        """As for every curve; television standards use legal codes."""
        return "legal" if self.name in OTHER_SCALES else super().codes

    @cached_property
    def kind_of_light(self) -> Light:
        """Scene light; 1.0 may be the highest code or half of the signal, which it then says."""
        if self.name in OTHER_SCALES:
            return OTHER_SCALES[self.name].light
        return PEAK if self.clip <= 1 + 1e-6 else SCENE

    @property
    def note(self) -> str:  # type: ignore[override]
        """A warning for the reader of its levels, if light 1.0 is not a white card."""
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
PEAK_NOTE = "Light 1.0 is the brightest that this curve records, and not necessarily a white card."


@dataclass(frozen=True)
class Scale:
    """The scale of light of a registered curve, and a note on it."""

    light: Light
    note: str


OTHER_SCALES = {
    # ARIB STD-B67: the level of reference white is half of the video level.
    "ARIB STD-B67": Scale(
        Light("scene", "at 50 % of the signal"),
        "This is BT.2100 HLG with light 1.0 at 50 %. Use BT.2100 HLG for grey at 38 % and white "
        "at 75 %, the levels of BT.2408.",
    )
}
"""Television standards that are registered with another scale of light."""

ROUNDED = {"ACESproxy": "ACEScc with range legal"}
"""The replacement of a registered curve that is rounded to whole codes. ACESproxy (Academy
S-2013-001) rounds the legal codes of ACEScc (S-2014-003)."""


def curves_of(colour: Any) -> tuple[dict[str, Curve], dict[str, str]]:
    """The curves in the registries of `colour`, and why others are not among them, by name."""
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
    """Whether the result of a registered function, times 1023, is a full-range or a legal code.

    Functions with a parameter ``out_normalised_code_value`` give legal code values over
    2^n - 1 if it is true, which is its default, else the signal (IRE / 100). Those that are
    rounded to codes from 64 to 940 (`ROUNDED`) give legal codes. All others give the signal.
    """
    if name in ROUNDED:
        return "legal"
    parameter = inspect.signature(encoder).parameters.get("out_normalised_code_value")
    return "legal" if parameter is not None and parameter.default else "full"
