"""How a signal is seen: from its values to the light that reaches the eye."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lutbench.measure.delta_e import DeltaE
from lutbench.model.curves.base import Curve
from lutbench.model.curves.video import Bt1886, Srgb
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.light import REFERENCE_WHITE, Display
from lutbench.model.signal import SignalFromRange
from lutbench.model.transforms import Array

SDR_WHITE = 100.0
"""cd/m² of white on a standard-range reference display: Recommendation ITU-R BT.2035-0."""

HLG_PEAK = 1000.0
"""cd/m² of the nominal HLG display: Recommendation ITU-R BT.2100-2, table 5."""


@dataclass(frozen=True)
class View:
    """How values are seen: on a display, or of a log or linear signal as light of the scene."""

    encoding: Encoding
    """How values become light, 1.0 at white: the curve of the display (not of the camera), its
    primaries and white, the signal range."""
    white_luminance: float = SDR_WHITE
    """cd/m² of light 1.0, for absolute measures."""
    hdr: bool = False
    """Whether ΔE ITP is the measure that counts, instead of ΔE 2000, which is not made for light
    far above white."""
    shows_light: bool = True
    """True for a display, which shows no negative light; False for the scene, where negative values
    are kept."""
    description: str = ""
    """The view in words."""

    @property
    def measure(self) -> DeltaE:
        """The measure that counts: ``delta_e_itp`` for HDR, else ``delta_e_2000``."""
        return "delta_e_itp" if self.hdr else "delta_e_2000"

    @property
    def white_xyz(self) -> Array:
        """XYZ of light 1.0, Y = 1."""
        return np.asarray(self.encoding.gamut.to_xyz.sum(axis=1))

    def light(self, values: Array) -> Array:
        """Linear R G B, 1.0 at white, of full-scale values, shape (..., 3)."""
        seen = self.encoding
        signal = np.asarray(values, dtype=np.float64)
        if seen.range == "legal":
            signal = SignalFromRange("legal", seen.bits).apply(signal)
        light = seen.to_light().apply(signal)
        return np.maximum(light, 0) if self.shows_light else light

    def xyz(self, values: Array) -> Array:
        """XYZ, Y = 1 at white, of full-scale values, shape (..., 3)."""
        return np.asarray(self.light(values) @ self.encoding.gamut.to_xyz.T)

    def swatch(self, values: Array) -> str:
        """One colour, shape (3,), as sRGB ``#rrggbb``, white-adapted and clipped to sRGB.

        >>> from lutbench.model.curves.video import Srgb
        >>> from lutbench.model.gamuts import BT709
        >>> view_of(Encoding(Srgb(), BT709)).swatch(np.array([1.0, 0.5, 0.0]))
        '#ff8000'
        """
        to_srgb = conversion(self.encoding.gamut, BT709)
        signal = np.clip(Srgb().encode(to_srgb.apply(self.light(values))), 0, 1)
        return "#" + "".join(f"{code:02x}" for code in np.rint(255 * signal).astype(int).tolist())


def view_of(target: Encoding) -> View:
    """How a signal encoded as `target` is seen.

    - PQ and HLG: on an HDR display, in absolute luminance (HLG: on the display that is named,
      by default the nominal one of 1000 cd/m²).
    - A camera curve of television (BT.709, BT.2020): on a BT.1886 display with
      black 0 and white 100 cd/m², not through the inverse of the camera curve.
    - A display curve (sRGB, gamma): on its own display, by default with white at 100 cd/m².
    - Log and linear: as the scene light that they stand for, 1.0 at 203 cd/m². Such a signal
      is not meant for viewing; the measure then tells how much the light differs.

    >>> from lutbench.model.curves.video import Bt709
    >>> from lutbench.model.gamuts import BT709
    >>> view_of(Encoding(Bt709(), BT709)).description
    'a BT.1886 display'
    """
    curve = target.curve
    if curve.hdr:
        return _hdr_view(target)
    if curve.family in ("log", "linear"):
        return View(
            target,
            REFERENCE_WHITE,
            hdr=True,
            shows_light=False,
            description=f"scene light, decoded from {curve.name}",
        )
    white = target.white_luminance or SDR_WHITE
    if curve.family == "camera":
        return View(_seen(target, Bt1886()), white, description="a BT.1886 display")
    return View(target, white, description=f"a {curve.name} display")


def _hdr_view(target: Encoding) -> View:
    from lutbench.model.curves.hdr import PqDisplay, PqScene

    curve = target.curve
    if isinstance(curve, PqScene | PqDisplay):
        shown = PqDisplay(white=curve.white)
        return View(_seen(target, shown), shown.white, hdr=True, description="a PQ display")
    display = target.display or Display(HLG_PEAK)
    return View(
        replace(target, display=display),
        REFERENCE_WHITE,
        hdr=True,
        description=f"an HLG display of {display}",
    )


def _seen(target: Encoding, display: Curve) -> Encoding:
    return replace(target, curve=display)
