"""A tone curve on one value of a colour: its largest channel, luminance, or intensity.

Report ITU-R BT.2390 names these ways beside applying a curve to each channel; the channels
then move together, which keeps hue. Light beyond the display may be blended to white.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.curves.hdr import (
    bt2020_from_ictcp,
    bt2020_matrix,
    ictcp_from_bt2020,
    pq_luminance,
    pq_signal,
)
from lutbench.model.gamuts import BT2020, Gamut
from lutbench.model.tone import ToneMapper
from lutbench.model.transforms import Array, Transform

CHANNELS = "channels"
CARRIERS = (CHANNELS, "largest", "luminance", "intensity")

DARKEST_LIGHT = 1e-12
"""Light: a darker colour becomes grey, since the ratios of its channels are not defined."""


def check_carrier(where: str, on: str, blend: float) -> None:
    """Check the names of the value and the blend; DefinitionError if one is not valid."""
    if on not in CARRIERS:
        raise DefinitionError(f"a tone curve on {on!r}", where=where, accepted=", ".join(CARRIERS))
    if not 0 <= blend <= 1 or (blend and on == CHANNELS):
        raise DefinitionError(
            f"a blend of {blend:g} with a curve on {on}",
            where=where,
            accepted="0 to 1, and 0 for a curve on channels",
        )


class OnCarrier(ToneMapper):
    """A tone mapper whose curve acts `on` each channel, or is carried by one value of a colour."""

    on: str
    blend: float

    @property
    def ceiling(self) -> float:
        """The brightest result."""
        raise NotImplementedError

    @property
    def unit(self) -> float:
        """cd/m² of light 1.0, for the scale of intensity."""
        raise NotImplementedError

    def curve(self, light: Array) -> Array:
        """The tone of light, any shape."""
        raise NotImplementedError

    @property
    def per_channel(self) -> bool:
        return self.on == CHANNELS

    def within(self, gamut: Gamut) -> Transform:
        return self if self.per_channel else Carried(self, gamut)

    def _apply(self, rgb: Array) -> Array:
        return self.curve(rgb) if self.per_channel else Carried(self)._apply(rgb)


@dataclass(frozen=True)
class Carried(Transform):
    """A tone curve f on one value of each colour of a gamut.

    - ``largest``: all channels are multiplied by f(m)/m, m the largest. Chromaticity stays.
    - ``luminance``: all channels are multiplied by f(Y)/Y, Y the luminance. Chromaticity stays;
      a colour with a channel above the brightest result is then desaturated, at constant
      luminance, until it fits.
    - ``intensity``: I of ICtCp becomes that of f; Ct and Cp are multiplied by
      min(I/I', I'/I) (BT.2390, 5.4.2); then desaturated as above.

    Blend: where m is above the brightest result p, a share blend·(1 - p/m)² of white (the grey
    of that value) is mixed in, so that the brightest colours become white.

    On the largest channel a curve with an inverse keeps it.
    """

    tone: OnCarrier
    gamut: Gamut = BT2020
    kind: ClassVar[str] = "carried_tone"

    def _apply(self, rgb: Array) -> Array:
        moved, grey = self._moved(rgb)
        largest = rgb.max(axis=-1)
        share = self._share(largest)[..., None]
        mixed = (1 - share) * moved + share * grey[..., None]
        return mixed if self.tone.on == "largest" else self._fitted(mixed, grey)

    def _moved(self, rgb: Array) -> tuple[Array, Array]:
        """The colours after the curve, and the grey of the value that it acted on."""
        if self.tone.on == "intensity":
            return self._by_intensity(rgb)
        weights = np.array(self.gamut.luminance_weights)
        value = rgb.max(axis=-1) if self.tone.on == "largest" else rgb @ weights
        grey = self.tone.curve(np.maximum(value, 0))
        lit = value > DARKEST_LIGHT
        gain = np.where(lit, grey / np.where(lit, value, 1.0), 0.0)
        return np.where(lit[..., None], rgb * gain[..., None], grey[..., None]), grey

    def _by_intensity(self, rgb: Array) -> tuple[Array, Array]:
        unit, to_2020 = self.tone.unit, bt2020_matrix(self.gamut)
        ictcp = ictcp_from_bt2020(rgb @ to_2020.T * unit)
        intensity = ictcp[..., 0]
        grey = self.tone.curve(pq_luminance(intensity) / unit)
        after = pq_signal(grey * unit)
        low, high = np.minimum(intensity, after), np.maximum(intensity, after)
        ratio = np.where(high > 0, low / np.where(high > 0, high, 1.0), 0.0)
        mapped = np.stack([after, ictcp[..., 1] * ratio, ictcp[..., 2] * ratio], axis=-1)
        back = np.linalg.inv(to_2020)
        return bt2020_from_ictcp(mapped) / unit @ back.T, grey

    def _share(self, largest: Array) -> Array:
        over = 1 - self.tone.ceiling / np.maximum(largest, self.tone.ceiling)
        return np.asarray(self.tone.blend * over**2)

    def _fitted(self, rgb: Array, grey: Array) -> Array:
        """Colours desaturated to their grey until no channel is above the brightest result."""
        spread = rgb.max(axis=-1) - grey
        room = np.maximum(self.tone.ceiling - grey, 0)
        share = np.where(spread > room, room / np.where(spread > 0, spread, 1.0), 1.0)
        return np.asarray(grey[..., None] + share[..., None] * (rgb - grey[..., None]))

    def _undone(self, rgb: Array) -> Array:
        grey = rgb.max(axis=-1)
        value = self.tone.curve_back(np.maximum(grey, 0))
        share = self._share(value)[..., None]
        moved = (rgb - share * grey[..., None]) / np.maximum(1 - share, 1e-12)
        lit = grey > DARKEST_LIGHT
        gain = np.where(lit, value / np.where(lit, grey, 1.0), 0.0)
        return np.asarray(moved * gain[..., None])

    def inverse(self) -> CarriedBack:
        if self.tone.on != "largest":
            raise NotInvertibleError(
                f"a tone curve on {self.tone.on} desaturates colours and has no inverse"
            )
        self.tone.curve_back(np.zeros(1))  # raises if the curve has no inverse
        return CarriedBack(self)


@dataclass(frozen=True)
class CarriedBack(Transform):
    """The inverse of a tone curve on the largest channel."""

    carried: Carried
    kind: ClassVar[str] = "carried_tone_inverse"

    def _apply(self, rgb: Array) -> Array:
        return self.carried._undone(rgb)

    def inverse(self) -> Carried:
        return self.carried
