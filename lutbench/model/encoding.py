"""An encoding: what a signal stands for, and the side of light on which two encodings meet.

`meeting` is the only place where scene light and display light are connected:

- If both ends have the same side of light, they meet there, white on white.
- BT.2100 PQ and ST 2084 are the same signal for scene light and for display light,
  connected by PQ's reference OOTF: such an end is taken to the side of the other.
- BT.2100 HLG has display light only if its display is named; it is then taken to the side
  of the other end by that display's OOTF. Without a display it never meets display light.
- A log, linear or BT.709 camera encoding and a display of standard range: no standard
  connects them. The tone of the LUT is the rendering, and `clip` shows the scene unchanged.

Sources: Recommendation ITU-R BT.2100-2, tables 4 and 5; Report ITU-R BT.2408, 5 and 6
(scene-referred and display-referred conversion).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, get_args

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.model.light import Display, Side
from lutbench.model.signal import Range, check_range, range_of
from lutbench.model.transforms import Transform
from lutbench.results import PlainData

if TYPE_CHECKING:
    from lutbench.model.catalogue import Catalogue, Entry


@dataclass(frozen=True)
class Encoding(PlainData):
    """One end of a conversion: curve, gamut, how the codes are carried, and the display.

    Parameters
    ----------
    curve
        Between signal (0 nominal black, 1 nominal white) and light.
    gamut
        Primaries and white of that light.
    range
        The codes of signal 0 and 1: the ends of the scale (``full``), or legal codes
        (``legal``: 64 and 940 in 10 bits). Default: as in the curve's own source,
        ``curve.formula_codes``.
    bits
        The bit depth for which a legal range is computed.
    display
        The display on which the picture is seen. With it the light is display light, for HLG
        and BT.709 too. It gives the luminance of white on a display of standard range, and
        the peak up to which a tone reaches in PQ.

    Raises
    ------
    DefinitionError
        When curve or gamut is something else, or a display is named for a curve that no display
        shows.
    """

    curve: Curve
    gamut: Gamut
    range: Range = None  # type: ignore[assignment]  # a Range in every instance: see below
    bits: int = 10
    display: Display | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.curve, Curve) or not isinstance(self.gamut, Gamut):
            raise DefinitionError(
                f"{self.curve!r:.40} and {self.gamut!r:.40} make no encoding",
                where="Encoding",
                accepted='a Curve and a Gamut; Encoding.named("ACEScct", "ACEScg") takes names',
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
                accepted="a display with the curve of a display",
            )
        if self.display.black and not self.curve.takes_black:
            raise DefinitionError(
                f"the curve {self.curve.name!r} has no black level",
                accepted="a black level with BT.1886, BT.709, PQ or HLG",
            )

    @classmethod
    def named(
        cls,
        curve: str | Curve | Entry,
        gamut: str | Gamut | Entry,
        *,
        range: Range | None = None,
        display: Display | None = None,
        catalogue: Catalogue | None = None,
    ) -> Encoding:
        """The encoding of a curve and a gamut by their names.

        Parameters
        ----------
        curve, gamut
            A name, in any letter case, or the thing itself.
        range, display
            As for `Encoding`.
        catalogue
            Where the names are looked up; `open_catalogue()` unless given.

        Returns
        -------
        Encoding
            With the curve and the gamut of these names.

        Raises
        ------
        UnknownNameError
            With the nearest names.

        >>> Encoding.named("acescct", "ACEScg").gamut.name
        'ACES AP1'
        """
        from lutbench.model.catalogue import known

        names = known(catalogue)
        found = names.curve(curve, "curve"), names.gamut(gamut, "gamut")
        return cls(*found, range, display=display)  # type: ignore[arg-type]

    @property
    def side(self) -> Side:
        """The side of its light: that of the curve, or ``display`` if a display is named."""
        return "display" if self.display is not None else self.curve.kind_of_light.side

    def gives(self, side: Side) -> bool:
        """Whether the standard of this encoding defines its light on that side."""
        return side in self._made

    def to_light(self, side: Side | None = None) -> Transform:
        """Signal to linear light of that side, by default its own.

        Raises
        ------
        DefinitionError
            When the light of that side depends on a display, and none is named.
        """
        return self._lights(side)[0]

    def from_light(self, side: Side | None = None) -> Transform:
        """Linear light of that side to signal: the inverse of `to_light`."""
        return self._lights(side)[1]

    def _lights(self, side: Side | None) -> tuple[Transform, Transform]:
        """To light and back."""
        side = side or self.side
        if side not in self._made:
            raise DefinitionError(
                f"{self.curve.name} has no {side} light without a display", accepted="a display"
            )
        return self._made[side]

    @cached_property
    def _made(self) -> dict[Side, tuple[Transform, Transform]]:
        """For each side that the standard defines; made once, for searches that ask often."""
        sides: tuple[Side, ...] = get_args(Side)
        weights = self.gamut.luminance_weights
        made = {side: self.curve.to_light(side, self.display, weights) for side in sides}
        return {side: (each, each.inverse()) for side, each in made.items() if each is not None}

    @property
    def white_luminance(self) -> float | None:
        """cd/m² of display light 1.0; None if it is not known.

        >>> from lutbench.model.curves.video import Bt1886
        >>> from lutbench.model.gamuts import BT709
        >>> Encoding(Bt1886(), BT709, display=Display(100.0)).white_luminance
        100.0
        """
        if self.curve.display_white is not None or self.display is None:
            return self.curve.display_white
        return self.display.peak

    def brightest(self, side: Side | None = None) -> float:
        """The brightest neutral light of the signal on that side.

        That of the highest code; in PQ, the peak of the display if one is named.
        """
        self._lights(side)  # raises where there is none
        return self._brightest[side or self.side]

    @cached_property
    def _brightest(self) -> dict[Side, float]:
        signal = [self.curve.brightest_signal(self.display)] * 3
        return {side: float(decode.apply(signal)[1]) for side, (decode, _) in self._made.items()}


@dataclass(frozen=True)
class Meeting:
    """The side of light that each end is decoded to or encoded from.

    They differ only if the tone of the LUT renders the scene for a display.
    """

    source: Side
    target: Side

    @property
    def is_rendered_by_tone(self) -> bool:
        """Whether only the tone of the LUT is between scene light and display light."""
        return self.source != self.target


def unrendered(source: Encoding, target: Encoding) -> Meeting:
    """Each end on its own side, without an OOTF between: LUTs from elsewhere may do that."""
    return Meeting(source.side, target.side)


def is_unrendered(source: Encoding, target: Encoding) -> bool:
    """Whether two encodings meet without an OOTF between the light of their curves."""
    try:
        return meeting(source, target) == unrendered(source, target)
    except LutbenchError:
        return False


def meeting(source: Encoding, target: Encoding) -> Meeting:
    """The side of light on which two encodings meet.

    Raises
    ------
    LutbenchError
        When scene light would be treated as display light, with what to name instead.

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
                f"{scene.curve.name} encodes scene light unless its display is named, but "
                f"{display.curve.name} encodes display light",
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
