"""Sides of light: the scene before the camera, and the display before the eye.

A curve's light is on one side. The two sides are not the same light on different
scales: between them is the rendering, which is the OOTF of a television system
(Recommendation ITU-R BT.2100-2, table 1 and figure 1) or the tone of a LUT.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lutbench.errors import DefinitionError
from lutbench.given import real
from lutbench.results import PlainData

Side = Literal["scene", "display"]

REFERENCE_WHITE_CD_M2 = 203.0
"""cd/m² of HDR reference white: Report ITU-R BT.2408, table 1."""

MOST_CD_M2 = 10000.0
"""cd/m² of the highest PQ signal: SMPTE ST 2084."""

REFERENCE_SURROUND_CD_M2 = 5.0
"""cd/m² of the reference surround: Recommendation ITU-R BT.2100-2, table 3."""


@dataclass(frozen=True)
class Light(PlainData):
    """Which side a curve's light is on, and what its 1.0 stands for.

    `luminance` is the cd/m² of 1.0 on the display; None if the light is relative, as that of
    a scene or of a display whose white is not named.

    >>> str(Light("display", "HDR reference white", 203.0))
    'display light, 1.0 = HDR reference white, 203 cd/m²'
    """

    side: Side
    one: str
    luminance: float | None = None

    def __str__(self) -> str:
        absolute = "" if self.luminance is None else f", {self.luminance:g} cd/m²"
        return f"{self.side} light, 1.0 = {self.one}{absolute}"


SCENE = Light("scene", "a perfect white diffuser")
DISPLAY = Light("display", "the display's white")


@dataclass(frozen=True)
class Display(PlainData):
    """A named display: its peak, its black and its surround, in cd/m².

    `surround` is the luminance around the picture, on which the system gamma of HLG depends
    (Report ITU-R BT.2390).

    Raises
    ------
    DefinitionError
        When a level is out of range.
    """

    peak: float = 1000.0
    black: float = 0.0
    surround: float = REFERENCE_SURROUND_CD_M2

    def __post_init__(self) -> None:
        for name in ("peak", "black", "surround"):
            object.__setattr__(self, name, real(getattr(self, name), f"display, {name}"))
        check_luminance("display", "peak", self.peak)
        if not 0 <= self.black < self.peak / 2:
            raise DefinitionError(
                f"a black of {self.black:g} cd/m² is out of range",
                where="display",
                accepted="0 or more, less than half the peak",
            )
        if not 0.1 <= self.surround <= 1000:
            raise DefinitionError(
                f"a surround of {self.surround:g} cd/m² is out of range",
                where="display",
                accepted="0.1 to 1000",
            )

    def __str__(self) -> str:
        parts = [f"{self.peak:g} cd/m²"]
        if self.black:
            parts.append(f"black {self.black:g} cd/m²")
        if self.surround != REFERENCE_SURROUND_CD_M2:
            parts.append(f"surround {self.surround:g} cd/m²")
        return ", ".join(parts)


def check_luminance(where: str, what: str, value: float) -> None:
    """Check that a luminance is 1 to 10000 cd/m²; DefinitionError when it is not."""
    if not 1 <= value <= MOST_CD_M2:
        raise DefinitionError(
            f"a {what} of {value:g} cd/m² is out of range", where=where, accepted="1 to 10000"
        )
