"""What a tone curve can act on beside each channel: one number of each colour.

The rest of the colour follows from that number before and after the curve, and so does the
colour before from that after. Light is display light in the target's gamut, 1.0 its white.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.identification.common import DARK
from lutbench.model.curves.hdr import (
    bt2020_from_ictcp,
    bt2020_matrix,
    ictcp_from_bt2020,
    pq_luminance,
    pq_signal,
)
from lutbench.model.gamuts import Gamut
from lutbench.model.light import REFERENCE_WHITE_CD_M2
from lutbench.model.tone.bt2446 import A_CHROMA, A_RED, CR_SCALE, GAMMA, WEIGHTS
from lutbench.model.transforms import Array

EDGE = 0.01
"""The least channel, as a share of the largest, of light that is not at the edge of a gamut."""


POWERS = (2.0, 4.0, 8.0)
"""Powers of a soft maximum to begin with: each is within a factor of 1.5 of those between."""


class Carrier:
    """The number of a colour that a tone curve acts on, as the light of a grey that has it too."""

    words: str
    gamut: str | None
    """The name of the gamut whose channels it weighs."""
    held = False
    """Whether light beyond the curve's end is cut off in each channel before it."""

    def value(self, light: Array) -> Array:
        """The number of light (..., 3) before the curve."""
        raise NotImplementedError

    def value_after(self, light: Array) -> Array:
        """The number that the curve gave, of the light that came of it."""
        return self.value(light)

    def moved(self, light: Array, value: Array, after: Array) -> Array:
        """Light whose number becomes another."""
        raise NotImplementedError

    def undone(self, light: Array, value: Array, after: Array) -> Array:
        """The light before that, from the light that came of it; NaN where it was cut off."""
        raise NotImplementedError


@dataclass(frozen=True)
class Largest(Carrier):
    """The largest channel; all channels keep their proportions."""

    words = "the largest channel"
    gamut = None

    def value(self, light: Array) -> Array:
        return np.asarray(np.maximum(np.maximum(light[..., 0], light[..., 1]), light[..., 2]))

    def moved(self, light: Array, value: Array, after: Array) -> Array:
        with np.errstate(all="ignore"):
            ratio = np.where(value > 0, after / value, 0.0)
        return np.asarray(np.maximum(light, 0) * ratio[..., None])

    def undone(self, light: Array, value: Array, after: Array) -> Array:
        return np.asarray(value[..., None] * (light / np.maximum(after, DARK)[..., None]))


@dataclass(frozen=True)
class SoftMaximum(Largest):
    """The mean of a power of the channels: with a high power nearly the largest channel."""

    power: float
    words = "a soft maximum of the channels"

    def value(self, light: Array) -> Array:
        powers = np.maximum(light, 0.0) ** self.power
        return np.asarray(powers.mean(axis=-1) ** (1 / self.power))


@dataclass(frozen=True)
class Luminance(Largest):
    """The luminance of a gamut, by its weights; all channels keep their proportions."""

    weights: tuple[float, float, float]
    gamut: str  # type: ignore[assignment]
    words = "luminance"

    def value(self, light: Array) -> Array:
        return np.asarray(light @ np.array(self.weights))


@dataclass(frozen=True)
class _Wide(Carrier):
    """A number of the colour in BT.2020; `matrix` converts the target's gamut to that."""

    gamut: str
    matrix: tuple[tuple[float, ...], ...]

    def _there(self, light: Array) -> Array:
        return np.asarray(light @ np.array(self.matrix).T)

    def _back(self, light: Array) -> Array:
        return np.asarray(light @ np.linalg.inv(np.array(self.matrix)).T)

    def _inside(self, there: Array) -> Array:
        """The light of what is not at the edge of BT.2020, where it was cut off."""
        inside = there.min(axis=-1) > EDGE * there.max(axis=-1)
        return np.where(inside[..., None], self._back(there), np.nan)


@dataclass(frozen=True)
class Intensity(_Wide):
    """I of ICtCp, with Ct and Cp kept, or `scaled` by the lesser ratio of I before and after.

    Source: Recommendation ITU-R BT.2100-2, table 7; Report ITU-R BT.2390, 5.4.2.
    """

    scaled: bool
    words = "intensity (I of ICtCp)"

    def value(self, light: Array) -> Array:
        return np.asarray(pq_luminance(self._ictcp(light)[..., 0]) / REFERENCE_WHITE_CD_M2)

    def moved(self, light: Array, value: Array, after: Array) -> Array:
        return self._back(self._changed(light, after, self._ratio(value, after)))

    def undone(self, light: Array, value: Array, after: Array) -> Array:
        return self._inside(self._changed(light, value, 1 / self._ratio(value, after)))

    def _ictcp(self, light: Array) -> Array:
        return ictcp_from_bt2020(np.maximum(self._there(light), 0) * REFERENCE_WHITE_CD_M2)

    def _ratio(self, value: Array, after: Array) -> Array:
        if not self.scaled:
            return np.ones(np.broadcast(value, after).shape)
        before, then = (
            np.maximum(pq_signal(x * REFERENCE_WHITE_CD_M2), DARK) for x in (value, after)
        )
        return np.asarray(np.minimum(before, then) / np.maximum(before, then))

    def _changed(self, light: Array, value: Array, ratio: Array) -> Array:
        signal = self._ictcp(light)
        intensity = pq_signal(value * REFERENCE_WHITE_CD_M2)
        chroma = [ratio * signal[..., k] for k in (1, 2)]
        changed = bt2020_from_ictcp(np.stack([intensity, *chroma], axis=-1))
        return np.asarray(changed / REFERENCE_WHITE_CD_M2)


@dataclass(frozen=True)
class Luma(_Wide):
    """Luma of a gamma of 2.4, with the colour differences of method A of Report ITU-R BT.2446.

    Light is relative to the peak of a display, so what is beyond it is cut off.
    """

    words = "luma (as in BT.2446, method A)"
    held = True

    def value(self, light: Array) -> Array:
        return np.asarray(np.maximum(self._signal(light) @ WEIGHTS, 0) ** GAMMA)

    def value_after(self, light: Array) -> Array:
        signal = self._signal(light)
        luma = signal @ WEIGHTS
        lowered = A_RED * (signal[..., 0] - luma) / CR_SCALE
        return np.asarray(np.maximum(luma + np.maximum(lowered, 0), 0) ** GAMMA)

    def moved(self, light: Array, value: Array, after: Array) -> Array:
        signal = self._signal(light)
        luma = (signal @ WEIGHTS)[..., None]
        difference = (signal - luma) * self._gain(value, after)
        lowered = A_RED * difference[..., :1] / CR_SCALE
        there = np.maximum(after, 0)[..., None] ** (1 / GAMMA) - np.maximum(lowered, 0) + difference
        return self._back(np.clip(there, 0, 1) ** GAMMA)

    def undone(self, light: Array, value: Array, after: Array) -> Array:
        signal = self._signal(light)
        difference = signal - (signal @ WEIGHTS)[..., None]
        before = value[..., None] ** (1 / GAMMA) + difference / self._gain(value, after)
        return self._inside(np.maximum(before, 0) ** GAMMA)

    def _signal(self, light: Array) -> Array:
        return np.asarray(np.maximum(self._there(light), 0) ** (1 / GAMMA))

    @staticmethod
    def _gain(value: Array, after: Array) -> Array:
        ratio = np.maximum(after, DARK) / np.maximum(value, DARK)
        return np.asarray((ratio ** (1 / GAMMA) / A_CHROMA)[..., None])


def by_proportion(gamuts: Sequence[tuple[str, Gamut]]) -> list[Carrier]:
    """The carriers that keep the proportions of channels, for displays of some gamuts."""
    return [Largest(), *(Luminance(each.luminance_weights, name) for name, each in gamuts)]


def soft_maxima() -> list[Carrier]:
    """Soft maxima of powers to begin with."""
    return [*map(SoftMaximum, POWERS)]


def in_bt2020(gamuts: Sequence[tuple[str, Gamut]]) -> list[Carrier]:
    """The carriers that recommendations define in BT.2020, for displays of some gamuts."""
    there = [(name, tuple(map(tuple, bt2020_matrix(each).tolist()))) for name, each in gamuts]
    made: list[Carrier] = [Intensity(*at, scaled) for scaled in (True, False) for at in there]
    return [*made, *(Luma(*at) for at in there)]
