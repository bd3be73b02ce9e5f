"""The target of a calibration: a display encoding with its peak and black."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lutbench.display.model import DisplayModel
from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.curves.hdr import PQ_PEAK, HlgDisplayLight, HlgScene, PqDisplay, PqScene
from lutbench.model.curves.video import Bt709, Bt1886
from lutbench.model.gamuts import Gamut, xyz_of_xy
from lutbench.model.light import REFERENCE_SURROUND_CD_M2, REFERENCE_WHITE_CD_M2, Display
from lutbench.model.tone.eetf import Eetf
from lutbench.model.transforms import Array
from lutbench.results import PlainData

SEARCH_SHARE = 0.1
"""Share of the additive model's highest peak, up and down, searched where there is a residual."""

SEARCH_STEPS = 201
"""Peaks that are tried in that search: a thousandth of the peak apart."""

SAME_SHARE = 1e-3
"""Share: a colour counts as reached if X, Y and Z come within this of those wanted."""


@dataclass(frozen=True)
class Target(PlainData):
    """The light that a display is to show for a signal.

    Raises DefinitionError when the curve is not one of a display, or peak and black are out of
    range.
    """

    KEYS = (
        *("curve=curve.name", "gamut=gamut.name", "peak", "black", "mastered_at"),
        "surround=hlg_surround",
    )

    curve: Curve
    """The curve of a display: BT.1886, a gamma, sRGB, ST 2084, HLG. BT.709 and BT.2020 count as
    BT.1886, BT.2100 PQ counts as ST 2084."""
    gamut: Gamut
    """Its primaries and white."""
    peak: float
    """cd/m² of signal 1; with an absolute curve (ST 2084) the highest luminance shown."""
    black: float = 0.0
    """cd/m² of signal 0. BT.1886 takes it into its formula, as do ST 2084 with `mastered_at`
    (BT.2390) and HLG (BT.2100, table 5); other curves are clipped at it."""
    mastered_at: float | None = None
    """With ST 2084: the peak of the mastering display, in cd/m². Light between the two peaks is
    rolled off with the EETF of BT.2390; with None it is clipped at `peak`."""
    surround: float = REFERENCE_SURROUND_CD_M2
    """With HLG: cd/m² around the picture. The system gamma follows from `peak` and surround."""

    def __post_init__(self) -> None:
        check_shown(self.curve)
        object.__setattr__(self, "curve", seen_as(self.curve))
        if not 0 <= self.black < self.peak / 2 or not 1 <= self.peak <= PQ_PEAK:
            raise DefinitionError(
                f"a peak of {self.peak:g} and a black of {self.black:g} cd/m²",
                where="target",
                accepted="a peak from 1 to 10000, black under half of it",
            )
        if self.mastered_at is not None and not self.absolute:
            raise DefinitionError(
                f"a mastering peak has no meaning for {self.curve.name}",
                where="target",
                accepted="with ST 2084 only",
            )

    @property
    def absolute(self) -> bool:
        """Whether signals stand for cd/m², independent of the display's peak."""
        return isinstance(self.curve, PqDisplay)

    @property
    def white(self) -> Array:
        """XYZ of the brightest white, in cd/m²."""
        return xyz_of_xy(self.gamut.white) * self.peak

    def light(self, signal: Array) -> Array:
        """Linear R, G, B in cd/m², in the target's gamut, of signals of shape (..., 3)."""
        if isinstance(self.curve, PqDisplay):
            light = self.curve.decode(signal) * self.curve.white
            if self.mastered_at is not None and self.mastered_at > self.peak:
                roll_off = Eetf(self.mastered_at, self.peak, 0.0, self.black)
                light = roll_off.apply(light)
            return np.clip(light, self.black, self.peak)
        curve = self.curve
        if isinstance(curve, HlgScene):
            display = Display(self.peak, self.black, self.surround)
            shown = HlgDisplayLight(display, self.gamut.luminance_weights)
            return np.asarray(
                np.clip(shown.apply(signal) * REFERENCE_WHITE_CD_M2, self.black, None)
            )
        if isinstance(curve, Bt1886):
            curve = replace(curve, black=self.black / self.peak)
        return np.clip(curve.decode(signal) * self.peak, self.black, None)

    def xyz(self, signal: Array) -> Array:
        """XYZ in cd/m² of signals of shape (..., 3)."""
        return np.asarray(self.light(signal) @ self.gamut.to_xyz.T)

    @property
    def hlg_surround(self) -> float | None:
        """For HLG: cd/m² around the picture."""
        return self.surround if isinstance(self.curve, HlgScene) else None


def check_shown(curve: Curve) -> None:
    """Check that a curve is one that displays show.

    Raises DefinitionError when it is not, with examples that are.
    """
    if not curve.shown:
        raise DefinitionError(
            f"{curve.name} is not the curve of a display",
            where="target",
            accepted="BT.1886, BT.709, gamma 2.4, sRGB, ST 2084, BT.2100 HLG or another one",
        )


def seen_as(curve: Curve) -> Curve:
    """The curve of the display that a signal is meant for.

    >>> from lutbench.model.curves.video import Bt709
    >>> seen_as(Bt709()).name
    'BT.1886'
    """
    if isinstance(curve, Bt709):
        return Bt1886()
    return PqDisplay(white=curve.white) if isinstance(curve, PqScene) else curve


def target_for(
    model: DisplayModel,
    curve: Curve,
    gamut: Gamut,
    peak: float | None = None,
    mastered_at: float | None = None,
) -> Target:
    """A target for a display, with the display's black; by default with its highest peak.

    `peak` and `mastered_at` are in cd/m².
    """
    black = max(float(model.darkest[1]), 0.0)
    most = highest_peak(model, gamut)
    return Target(curve, gamut, most if peak is None else min(peak, PQ_PEAK), black, mastered_at)


def highest_peak(model: DisplayModel, gamut: Gamut) -> float:
    """The highest luminance, in cd/m², at which the display can show the gamut's white."""
    white = xyz_of_xy(gamut.white)
    dark = model.linear(np.zeros(3))
    per_light = model.linear(white) - dark
    rising = per_light > 0
    most = float(((1 - dark)[rising] / per_light[rising]).min()) if rising.any() else 1.0
    if model.residual is not None:
        tried = np.linspace(1 + SEARCH_SHARE, 1 - SEARCH_SHARE, SEARCH_STEPS) * most
        wanted = tried[:, None] * white
        shown = model.xyz(model.signal(wanted))
        off = np.abs(shown / wanted - 1).max(axis=1)
        most = float(tried[np.argmax(off < SAME_SHARE)] if (off < SAME_SHARE).any() else tried[-1])
    return float(np.clip(most, 1.0, PQ_PEAK))
