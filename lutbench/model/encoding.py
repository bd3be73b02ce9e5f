"""An encoding: what a signal stands for, and where the light of two encodings meets.

The meeting is the one place that lets sides of light touch.

- Both ends on one side: they meet there, white on white.
- BT.2100 PQ and ST 2084 are one signal with two lights, tied by PQ's reference OOTF:
  such an end comes over to the side of the other.
- BT.2100 HLG shows display light once its display is named: then it comes over to the
  side of the other through that display's OOTF. Unnamed, it never meets display light.
- A log, linear or BT.709 camera encoding against a display of standard range: no
  standard ties these. The tone of the LUT is the rendering, and `clip` shows the
  scene as it is.

Sources: Recommendation ITU-R BT.2100-2, tables 4 and 5; Report ITU-R BT.2408, 5 and 6
(scene-referred and display-referred conversion).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.model.light import Display, Side
from lutbench.model.signal import Range, check_range, range_of
from lutbench.model.transforms import Array, Transform


@dataclass(frozen=True)
class Encoding:
    """One end of a conversion: curve, gamut, how the codes are carried, and the display.

    Parameters
    ----------
    curve
        Between signal (0 nominal black, 1 nominal white) and light.
    gamut
        Primaries and white of that light.
    range
        How the file or the cable carries the signal: 0 and 1 on the ends of the code
        scale (``full``) or on legal codes (``legal``: 64 and 940 of ten bits). Where it
        is not given, values are as the curve's own source publishes them:
        ``curve.formula_codes``.
    bits
        The depth that a legal range is laid out for.
    display
        The display the picture is seen on. With it the light is display light, of HLG
        and of BT.709 too; it tells the luminance of white on a display of standard
        range, and up to where tone goes on PQ.

    Raises
    ------
    DefinitionError
        When a display is named for signals that no picture is watched in.
    """

    curve: Curve
    gamut: Gamut
    range: Range = None  # type: ignore[assignment]  # a Range in every instance: see below
    bits: int = 10
    display: Display | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.curve, Curve) or not isinstance(self.gamut, Gamut):
            raise DefinitionError(
                f"of {self.curve!r:.40} and {self.gamut!r:.40}",
                where="Encoding",
                accepted="a Curve and a Gamut, as open_catalogue().curve(NAME), .gamut(NAME)",
            )
        object.__setattr__(
            self,
            "range",
            check_range(self.curve.formula_codes if self.range is None else self.range),
        )
        range_of(self.bits, self.range)
        if self.display is None:
            return
        if not isinstance(self.display, Display):
            raise DefinitionError(
                f"{self.display!r:.60} is not a Display", where="Encoding", accepted="a Display"
            )
        if not self.curve.shown:
            raise DefinitionError(
                f"a display has no meaning for the curve {self.curve.name!r}",
                accepted="a display with a curve that pictures are watched in",
            )
        if self.display.black and not self.curve.takes_black:
            raise DefinitionError(
                f"the curve {self.curve.name!r} has no black level",
                accepted="a display's black with BT.1886, BT.709, PQ and HLG",
            )

    @property
    def side(self) -> Side:
        """The side its light is on: the curve's own, or the display's once one is named."""
        return "display" if self.display is not None else self.curve.kind_of_light.side

    def gives(self, side: Side) -> bool:
        """Whether the standard of this encoding takes its signal to that side of light."""
        return self._decoder(side) is not None

    def to_light(self, side: Side | None = None) -> Transform:
        """Signal to linear light of that side (of its own, unless told)."""
        decoder = self._decoder(side or self.side)
        if decoder is None:
            raise DefinitionError(
                f"{self.curve.name} has no {side} light without a display", accepted="a display"
            )
        return decoder

    def from_light(self, side: Side | None = None) -> Transform:
        """Linear light of that side to signal: the inverse of `to_light`."""
        return self.to_light(side).inverse()

    def _decoder(self, side: Side) -> Transform | None:
        return self.curve.to_light(side, self.display, self.gamut.luminance_weights)

    @property
    def white_luminance(self) -> float | None:
        """cd/m² of display light 1.0, or None where nothing tells it.

        >>> from lutbench.model.curves.video import Bt1886
        >>> from lutbench.model.gamuts import BT709
        >>> Encoding(Bt1886(), BT709, display=Display(100.0)).white_luminance
        100.0
        """
        if self.curve.display_white is not None or self.display is None:
            return self.curve.display_white
        return self.display.peak

    def brightest(self, side: Side | None = None) -> float:
        """The brightest neutral light that the signal carries on that side.

        The light of the highest code; of PQ, that of the display where one is named.
        """
        signal = self.curve.brightest_signal(self.display)
        grey: Array = self.to_light(side).apply([signal] * 3)
        return float(grey[1])

    def to_data(self) -> dict[str, Any]:
        """Names and parameters as plain data."""
        return {
            "curve": self.curve.to_data(),
            "gamut": self.gamut.to_data(),
            "range": self.range,
            "bits": self.bits,
            "display": None if self.display is None else self.display.to_data(),
        }


@dataclass(frozen=True)
class Meeting:
    """The side on which each end gives or takes its light.

    The two differ only where the LUT's own tone renders the scene for a display.
    """

    source: Side
    target: Side

    @property
    def is_rendered_by_tone(self) -> bool:
        """Whether scene light and display light meet with nothing but the tone between them."""
        return self.source != self.target


def unrendered(source: Encoding, target: Encoding) -> Meeting:
    """Each end on its own side, nothing between: what LUTs from elsewhere may do."""
    return Meeting(source.side, target.side)


def is_unrendered(source: Encoding, target: Encoding) -> bool:
    """Whether two ends meet with nothing between their own curves' light."""
    try:
        return meeting(source, target) == unrendered(source, target)
    except LutbenchError:
        return False


def meeting(source: Encoding, target: Encoding) -> Meeting:
    """The side on which two encodings meet.

    Raises
    ------
    LutbenchError
        Where scene light would be taken for display light; it says what to name.

    >>> from lutbench.model.catalogue import open_catalogue
    >>> known = open_catalogue(user=False)
    >>> log, pq = (Encoding(known.curve(n), known.gamut("BT.2020")) for n in ("ACEScct", "ST 2084"))
    >>> meeting(log, pq)
    Meeting(source='scene', target='scene')
    """
    if source.side == target.side:
        return Meeting(source.side, target.side)
    scene, display = (source, target) if source.side == "scene" else (target, source)
    if scene.curve.has_ootf:
        if not scene.gives("display"):
            raise LutbenchError(
                f"{scene.curve.name} holds scene light until its display is named, and "
                f"{display.curve.name} holds display light",
                accepted=_what_to_name(scene, display),
            )
        return Meeting("display", "display")
    if display.curve.has_ootf and display.gives("scene"):
        return Meeting("scene", "scene")
    return Meeting(source.side, target.side)


def _what_to_name(scene: Encoding, display: Encoding) -> str:
    named = f"a display for {scene.curve.name} (display_peak = 1000, in cd/m²)"
    counterpart = display.curve.scene_name
    return f"{named}, or {counterpart} for scene light at both ends" if counterpart else named
