"""Levels in cd/m²: the luminance of a signal on a named display."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709, BT2020, Gamut
from lutbench.model.light import Display
from lutbench.model.transforms import Array
from lutbench.results import PlainData


@dataclass(frozen=True)
class Shown(PlainData):
    """Signals as a display shows them.

    PQ codes cd/m² directly, clipped to what the display reaches. HLG uses the system gamma for
    the display's peak and surround, and is lifted to its black (Recommendation ITU-R BT.2100-2,
    tables 4 and 5). BT.709, BT.2020 and BT.1886 reach from the display's black to its peak
    (Recommendation ITU-R BT.1886, annex 1).

    >>> from lutbench.model.catalogue import open_catalogue
    >>> hlg = shown_on(open_catalogue(user=False).curve("BT.2100 HLG"), Display(1000.0))
    >>> round(hlg.luminance([0.75] * 3)), round(hlg.luminance([1.0] * 3))  # Report ITU-R BT.2408
    (203, 1000)
    """

    KEYS = ("curve=encoding.curve.name", "*display")

    encoding: Encoding
    display: Display

    def luminance(self, signal: Any) -> float:
        """cd/m² of an R G B signal, shape (3,)."""
        light = self.encoding.to_light("display").apply(np.asarray(signal, dtype=np.float64))
        weights = np.array(self.encoding.gamut.luminance_weights)
        white = self.encoding.white_luminance or self.display.peak
        found: Array = np.asarray(light @ weights * white)
        return float(np.clip(found, self.display.black, self.display.peak))

    def __str__(self) -> str:
        return f"{self.encoding.curve.name} on a display of {self.display}"


def shown_on(curve: Curve, display: Display, gamut: Gamut | None = None) -> Shown:
    """The signals of a curve on a display; `gamut` is by default BT.2020 for HDR, else BT.709.

    Raises DefinitionError when the signals of this curve are not meant for a display.
    """
    if not curve.shown:
        raise DefinitionError(
            f"{curve.name!r} is not a curve that displays show, so its levels have no cd/m²",
            accepted="the curve of a display, BT.709, BT.2020, PQ or HLG; for a log curve a LUT, "
            "and the curve of what comes out of it",
        )
    # `luminance` clips to the display's black where the curve itself has none.
    named = display if curve.takes_black else Display(display.peak, 0.0, display.surround)
    usual = BT2020 if curve.hdr else BT709
    return Shown(Encoding(curve, gamut or usual, display=named), display)
