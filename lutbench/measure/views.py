"""Two views of one scene: how much an SDR view and an HDR view differ, and a look in both.

Both views are brought to HDR reference white: a standard-range view is compared with its
white at 203 cd/m² (Report ITU-R BT.2408), as after a display-referred conversion.
Differences are ΔE ITP of Recommendation ITU-R BT.2124.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.measure.delta_e import DELTA_E_PER_ITP, delta_e_itp, itp_from_xyz
from lutbench.measure.difference import Spread
from lutbench.measure.samples import chart24, chart_light
from lutbench.model.conversion import Conversion
from lutbench.model.encoding import Encoding
from lutbench.model.light import REFERENCE_WHITE_CD_M2, Display
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData

MID_GREY_NAME = "mid grey (18 %)"

SEEN_DELTA_E = 1.0
"""ΔE ITP: a look changes a colour visibly if it changes it by more than a just noticeable
difference."""


@dataclass(frozen=True)
class ViewedPatch(PlainData):
    """A patch in both views."""

    name: str
    luminance: Annotated[Array, tuple[float, float]]
    """cd/m², with both whites at 203."""
    delta_e_itp: float


@dataclass(frozen=True, eq=False)
class ViewsApart(PlainData):
    """Two views of the measured chart and of mid grey."""

    KEYS = ("patches", "delta_e_itp=spread")

    names: tuple[str, ...]
    """Mid grey, then the patches."""
    luminance: Array
    """cd/m² in the first and in the second view, at reference white 203, shape (n, 2)."""
    delta_e_itp: Array
    """Between the views, shape (n,)."""

    def of(self, name: str) -> float:
        """ΔE ITP of a patch, by its name."""
        return float(self.delta_e_itp[self.names.index(name)])

    @property
    def patches(self) -> tuple[ViewedPatch, ...]:
        """The same, patch by patch."""
        rows = zip(self.names, self.luminance, self.delta_e_itp.tolist(), strict=True)
        return tuple(ViewedPatch(*row) for row in rows)

    @property
    def spread(self) -> Spread:
        """The spread of the differences."""
        return Spread.of(self.delta_e_itp)


@dataclass(frozen=True, eq=False)
class LookApart(PlainData):
    """The effect of a look in two views, in ΔE ITP over the patches that it changes in B."""

    KEYS = ("effect=effect_spread", "parted=parted_spread", "share")

    names: tuple[str, ...]
    """The patches that the look changes visibly in the second view."""
    effect: Array
    """The change that the look makes in the second view, in ΔE ITP, shape (n,)."""
    parted: Array
    """The difference between the changes in the two views, in ΔE ITP, shape (n,): 0 where the look
    does the same in both."""

    @property
    def effect_spread(self) -> Spread:
        """The effect in B."""
        return Spread.of(self.effect)

    @property
    def parted_spread(self) -> Spread:
        """The difference between the effect in A and that in B."""
        return Spread.of(self.parted)

    @property
    def share(self) -> float:
        """The mean of `parted` divided by that of `effect`: 0 for a look with the same effect."""
        return float(self.parted.mean() / self.effect.mean())


@dataclass(frozen=True)
class Watched:
    """A view by any transform, from full-scale values of `source` to those of `result`."""

    transform: Transform
    source: Encoding
    result: Encoding

    def pipeline(self) -> Transform:
        """The transform."""
        return self.transform


def views_apart(first: Conversion | Watched, second: Conversion | Watched) -> ViewsApart:
    """How much two views differ on mid grey and the measured chart.

    Raises LutbenchError when a view's result is not meant for a display, or the sources' gamuts
    differ.
    """
    light = _scene(first, second)
    shown = [_shown(each, light) for each in (first, second)]
    apart = delta_e_itp(*(itp_from_xyz(each) for each in shown))
    luminance = np.stack([each[:, 1] for each in shown], axis=1)
    return ViewsApart((MID_GREY_NAME, *chart24()[0]), luminance, apart)


def look_apart(first: Conversion, second: Conversion) -> LookApart:
    """How much the effect of a look (`grade`) differs between two views, patch by patch.

    Raises LutbenchError when a view has no look, or no patch shows it.
    """
    if not first.grade or not second.grade:
        raise LutbenchError("a view has no look", accepted="two conversions with the same look")
    light = _scene(first, second)
    changes = []
    for view in (first, second):
        plain = replace(view, grade=())
        with_look, without = (itp_from_xyz(_shown(each, light)) for each in (view, plain))
        changes.append(with_look - without)
    effect, parted = (
        DELTA_E_PER_ITP * np.linalg.norm(each, axis=1)
        for each in (changes[1], changes[0] - changes[1])
    )
    seen = effect > SEEN_DELTA_E
    if not seen.any():
        raise LutbenchError("the look changes nothing visibly in the second view")
    names = np.array((MID_GREY_NAME, *chart24()[0]), dtype=object)
    return LookApart(tuple(names[seen].tolist()), effect[seen], parted[seen])


def _scene(first: Conversion | Watched, second: Conversion | Watched) -> Array:
    """Linear light of mid grey and the chart in the sources' gamut, shape (25, 3)."""
    if not first.source.gamut.same_as(second.source.gamut):
        raise LutbenchError(
            f"the views start from {first.source.gamut.name} and {second.source.gamut.name}",
            accepted="two views of the same recording",
        )
    return np.vstack([np.full((1, 3), 0.18), chart_light(first.source.gamut)])


def _shown(view: Conversion | Watched, light: Array) -> Array:
    """XYZ in cd/m² of scene light through a view; an SDR view has its white at 203 cd/m²."""
    signal = view.source.curve.encode(light)
    if view.source.range == "legal":
        signal = RangeFromSignal("legal", view.source.bits).apply(signal)
    came = view.pipeline().apply(signal)
    result = view.result
    if result.curve.shown and not result.curve.hdr and result.display is None:
        # Seen on the display of its system: BT.709 on BT.1886.
        result = replace(result, display=Display(REFERENCE_WHITE_CD_M2))
    if not result.curve.shown or not result.gives("display"):
        raise LutbenchError(
            f"{result.curve.name} is not the curve of a display",
            accepted="views with the curve of a display as target, or HLG with its display named",
        )
    if result.range == "legal":
        came = SignalFromRange("legal", result.bits).apply(came)
    to_light: Transform = result.to_light("display")
    white = result.white_luminance if result.curve.hdr else REFERENCE_WHITE_CD_M2
    return np.asarray(
        to_light.apply(came) @ result.gamut.to_xyz.T * (white or REFERENCE_WHITE_CD_M2)
    )
