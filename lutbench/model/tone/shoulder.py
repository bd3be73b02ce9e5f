"""The shoulder-and-toe curve, in stops around mid grey."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Self

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import MID_GREY, mirrored
from lutbench.model.curves.hdr import PqDisplay, PqScene
from lutbench.model.encoding import Encoding, meeting
from lutbench.model.light import REFERENCE_WHITE_CD_M2, Display, Side
from lutbench.model.parameter import bounded, hold_to_limits, worded
from lutbench.model.tone import ToneInverse
from lutbench.model.tone.carrier import CARRIERS, CHANNELS, Carried, OnCarrier, check_carrier
from lutbench.model.transforms import Array, Transform

LIGHTS = (1e-4, 1e4)
"""Range of light in settings: wide enough for any use."""

MOST_STOPS = 32.0
"""Stops from grey in settings: more than any signal has."""

USUAL_PEAK_CD_M2 = 1000.0
"""cd/m² of white for a PQ target without a named display: the display of BT.2408."""


@dataclass(frozen=True)
class ToneCurve(OnCarrier):
    """A tone curve with shoulder and toe, defined in stops around mid grey.

    With u = log2(light / grey_in) and v = log2(result / grey_out):

    - between ``toe_start`` and ``shoulder_start`` v = contrast·u, a straight line
      through mid grey;
    - above, with d = u - shoulder_start, v = v_s + contrast·d / (1 + d/k): the
      slope falls smoothly, and k is such that ``white`` stops above grey give ``white_out``;
    - below, with d = toe_start - u, v = v_t - contrast·d·(1 + toe·d / (d + 1)): the
      slope rises smoothly to contrast·(1 + toe), so shadows reach black faster.

    It acts `on` each channel, or on the ``largest``, ``luminance`` or ``intensity`` with a
    `blend` to white (`lutbench.model.tone.carrier`). The curve is monotone, has a continuous
    slope, and its inverse has a closed form. Light of zero gives zero; below zero the curve
    is odd. Above ``white`` it continues to rise slowly, above ``white_out``.

    >>> tone = ToneCurve(white=6.0, contrast=1.2)
    >>> tone.apply([0.0, 0.18, 0.18 * 2**6]).round(9).tolist()
    [0.0, 0.18, 1.0]
    """

    grey_in: float = bounded(MID_GREY, *LIGHTS)
    grey_out: float = bounded(MID_GREY, *LIGHTS)
    contrast: float = bounded(1.0, 0.1, 5)
    white: float = bounded(6.0, -MOST_STOPS, MOST_STOPS, "stops")
    shoulder_start: float = bounded(0.0, 0, MOST_STOPS, "stops")
    toe_start: float = bounded(-3.0, -MOST_STOPS, 0, "stops")
    toe: float = bounded(0.0, 0, 10)
    white_out: float = bounded(1.0, *LIGHTS)
    on: str = worded(CHANNELS, CARRIERS)
    blend: float = bounded(0.0, 0, 1)
    kind: ClassVar[str] = "tone_curve"
    method: ClassVar[str] = "shoulder"
    says: ClassVar[str] = "bright light rolls off, the toe runs into black, grey is kept"

    @classmethod
    def between(
        cls, source: Encoding, target: Encoding, exposure: float = 0.0, **settings: Any
    ) -> Self:
        """A shoulder for a source and a target, unless `settings` say otherwise.

        White is the point where the source clips, in stops above grey after the exposure. It
        becomes the brightest light of the target: 1.0 on a display of standard range, the
        peak of a display that is named for HLG or PQ, else 1000 cd/m² for PQ. Both are on
        the side of light on which source and target meet.
        """
        given = dict(settings)
        sides = meeting(source, target)
        if "white_out" not in given:
            given["white_out"] = brightest_shown(target, sides.target)
        contrast = given.get("contrast", 1.0)
        grey_out = given.get("grey_out", MID_GREY)
        if "white" not in given and given["white_out"] > 0 and grey_out > 0 and contrast > 0:
            grey_in = given.get("grey_in", MID_GREY)
            clip = source.brightest(sides.source)
            over = math.log2(clip / grey_in) + exposure if clip > 0 else 0.0
            straight = math.log2(given["white_out"] / grey_out) / contrast
            given["white"] = max(over, straight)
        return cls(**given)

    @property
    def words(self) -> str:
        return (
            f"shoulder, mid grey {self.grey_in:g} to {self.grey_out:g}, contrast "
            f"{self.contrast:g}, shoulder from {self.shoulder_start:+g} stops, white at "
            f"{self.white:+.4g} stops, toe {self.toe:g} from {self.toe_start:+g} stops"
            + ("" if self.per_channel else f", on {self.on}, blend {self.blend:g}")
        )

    @property
    def ceiling(self) -> float:
        """The light that white becomes."""
        return self.white_out

    @property
    def unit(self) -> float:
        """cd/m² of light 1.0, which counts as HDR reference white."""
        return REFERENCE_WHITE_CD_M2

    def __post_init__(self) -> None:
        def refuse(what: str, accepted: str) -> None:
            raise DefinitionError(what, where="tone", accepted=accepted)

        hold_to_limits(self, "tone")
        check_carrier("tone", self.on, self.blend)
        if not self.grey_out < self.white_out:
            refuse(
                f"mid grey {self.grey_in:g} to {self.grey_out:g} is out of range",
                "grey_out below white_out",
            )
        if not self.toe_start <= 0 <= self.shoulder_start < self.white:
            refuse(
                "the toe, mid grey, the shoulder and white are not in this order",
                "toe_start <= 0 <= shoulder_start < white",
            )
        if self._rise < -1e-9:
            refuse(
                f"with a contrast of {self.contrast:g} white is reached before the shoulder starts",
                f"shoulder_start below {self._top / self.contrast:.2f} stops",
            )
        if self.contrast * (self.white - self.shoulder_start) < self._rise - 1e-9:
            refuse(
                f"white at {self.white:g} stops is too low: a straight line does not reach it",
                f"white at {self._top / self.contrast:.2f} stops or more, or more contrast",
            )

    @property
    def _top(self) -> float:
        """Stops from grey_out up to white_out."""
        return math.log2(self.white_out / self.grey_out)

    @property
    def _rise(self) -> float:
        """Stops of result from the start of the shoulder to white."""
        return self._top - self.contrast * self.shoulder_start

    @property
    def _bend(self) -> float:
        """1 / k of the shoulder; 0 is a straight line."""
        length = self.white - self.shoulder_start
        rise = max(self._rise, 1e-9)
        return max(self.contrast * length / rise - 1, 0.0) / length

    def curve(self, light: Array) -> Array:
        """The tone of light, any shape."""
        return mirrored(self._forward, light)

    def curve_back(self, result: Array) -> Array:
        """The light of a result, any shape."""
        return mirrored(self._backward, result)

    def _forward(self, light: Array) -> Array:
        u = np.log2(np.maximum(light, 1e-30) / self.grey_in)
        above = np.maximum(u - self.shoulder_start, 0)
        below = np.maximum(self.toe_start - u, 0)
        v = self.contrast * (
            np.clip(u, self.toe_start, self.shoulder_start)
            + above / (1 + above * self._bend)
            - below * (1 + self.toe * below / (below + 1))
        )
        return np.where(light <= 0, 0.0, self.grey_out * 2.0**v)

    def _backward(self, result: Array) -> Array:
        w = np.log2(np.maximum(result, 1e-300) / self.grey_out) / self.contrast
        above = np.maximum(w - self.shoulder_start, 0)
        # The shoulder never reaches this height, so larger results have no inverse.
        above = np.minimum(above, (1 - 1e-9) / self._bend) if self._bend > 0 else above
        below = np.maximum(self.toe_start - w, 0)
        # below = d·(1 + toe·d/(d+1)) is a quadratic in d.
        a, b = 1 + self.toe, 1 - below
        d = (-b + np.sqrt(b * b + 4 * a * below)) / (2 * a)
        u = np.clip(w, self.toe_start, self.shoulder_start) + above / (1 - above * self._bend) - d
        return np.where(result <= 0, 0.0, self.grey_in * 2.0 ** np.minimum(u, 200.0))

    def inverse(self) -> Transform:
        return ToneInverse(self) if self.per_channel else Carried(self).inverse()


def brightest_shown(target: Encoding, side: Side) -> float:
    """The brightest light of a target; for PQ without a named display, with `USUAL_PEAK_CD_M2`."""
    if isinstance(target.curve, PqScene | PqDisplay) and target.display is None:
        target = replace(target, display=Display(USUAL_PEAK_CD_M2))
    return target.brightest(side)
