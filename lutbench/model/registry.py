"""Curves and gamuts that colour-science registers, taken at run time under their own names."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.model.registered import registries
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

    def to_data(self) -> dict[str, Any]:
        return {"family": self.family, "name": self.name, "registry": self.registry}


@dataclass(frozen=True)
class RegistryLog(RegistryCurve):
    """A log encoding of colour-science."""

    family: ClassVar[str] = "log"


def registry_curves(*, exact: bool = True) -> tuple[dict[str, Curve], dict[str, str]]:
    """Every registered log encoding and OETF, and the reason for each that has no inverse there.

    Exact curves import colour-science when they are first used; others come from samples,
    within 0.001 10-bit codes (`registered.LIMIT`).
    """
    return curves_of(registries(exact=exact))


def curves_of(colour: Any) -> tuple[dict[str, Curve], dict[str, str]]:
    """The curves and the reasons, from the registries of `colour`."""
    curves: dict[str, Curve] = {}
    missing: dict[str, str] = {}
    for name in colour.LOG_ENCODINGS:
        if name in colour.LOG_DECODINGS:
            curves[name] = RegistryLog(
                name, colour.LOG_ENCODINGS[name], colour.LOG_DECODINGS[name], True
            )
        else:
            missing[name] = "no decoding is registered"
    for name in colour.OETFS:
        if name in curves or name in missing:
            continue
        if name in colour.OETF_INVERSES:
            curves[name] = RegistryCurve(
                name, colour.OETFS[name], colour.OETF_INVERSES[name], False
            )
        else:
            missing[name] = "no inverse is registered"
    return curves, missing


def registry_gamuts() -> list[Gamut]:
    """Every RGB colour space of colour-science that is a gamut, by its primaries and white.

    Its own matrices are not used: some are published rounded and would not keep
    white exactly.
    """
    colour = registries()
    gamuts = []
    for name, space in colour.RGB_COLOURSPACES.items():
        red, green, blue = ((float(x), float(y)) for x, y in space.primaries)
        x, y = map(float, space.whitepoint)
        try:
            gamuts.append(Gamut(name, (red, green, blue), (x, y), "colour-science registry"))
        except DefinitionError:
            continue
    return gamuts


def published_matrices() -> dict[str, tuple[Array, Array]]:
    """The matrices of each RGB colour space as registered: R G B to XYZ, and XYZ to R G B.

    Some are those of a publication, rounded to a few decimals, and not quite
    each other's inverse; a LUT from elsewhere may have been made with them.
    """
    colour = registries()
    return {
        name: (
            np.asarray(space.matrix_RGB_to_XYZ, dtype=np.float64),
            np.asarray(space.matrix_XYZ_to_RGB, dtype=np.float64),
        )
        for name, space in colour.RGB_COLOURSPACES.items()
    }
