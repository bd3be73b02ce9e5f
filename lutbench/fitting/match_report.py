"""How good a camera match is, patch by patch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from lutbench.measure.difference import Spread
from lutbench.model.transforms import Array, Rgb, Transform
from lutbench.results import PlainData, Result
from lutbench.tables.lut import USUAL_SIZE, Lut3D
from lutbench.tables.nodes import sample

OVERFITTED_RATIO = 1.5
"""Ratio of left-out error to fitted error above which the user is warned of over-fitting."""


@dataclass(frozen=True)
class PatchError(PlainData):
    """ΔE 2000 of one patch: before the match, after it, and by a match without the patch."""

    name: str
    before: float
    after: float
    left_out: float
    used: bool = True


@dataclass(frozen=True, repr=False)
class CameraMatch(Result):
    """The match, its parts, and how good it is.

    Parameters
    ----------
    transform
        From source signal to target signal.
    exposure_stops, white_balance, matrix
        Its parts in linear light: stops; gains of R, G and B, with G = 1; a 3×3 matrix whose
        rows add up to 1.
    patches
        Errors by patch; those of clipped patches have `used` False.
    residual_rms
        RMS of the smooth residual at the patches, in signal; 0 without one.
    notes
        Warnings for the user.
    """

    KEYS = (
        *("exposure_stops", "white_balance", "matrix", "residual_rms", "delta_e_2000"),
        *("patches", "notes"),
    )

    transform: Transform
    exposure_stops: float
    white_balance: tuple[float, float, float]
    matrix: Annotated[Array, tuple[Rgb, Rgb, Rgb]]
    patches: tuple[PatchError, ...]
    residual_rms: float = 0.0
    notes: tuple[str, ...] = ()

    def spread(self, what: str) -> Spread:
        """The spread of ``before``, ``after`` or ``left_out`` over the patches used."""
        return Spread.of(np.array([getattr(each, what) for each in self.patches if each.used]))

    def lut(self, size: int = USUAL_SIZE, *, title: str = "") -> Lut3D:
        """The match as a LUT, values clamped to 0..1."""
        made = sample(self.transform, size, title=title)
        return Lut3D(np.clip(made.table, 0, 1), title=title)

    @property
    def delta_e_2000(self) -> dict[Literal["before", "after", "left_out"], Spread]:
        """Over the patches: before and after the match, and predicted from the others."""
        return {
            "before": self.spread("before"),
            "after": self.spread("after"),
            "left_out": self.spread("left_out"),
        }


def notes_on(patches: tuple[PatchError, ...], residual: bool) -> tuple[str, ...]:
    """Warnings about a match: unused patches, over-fitting, little gain."""
    notes = []
    left = [each.name for each in patches if not each.used]
    if left:
        notes.append(f"not used, as clipped or black: {', '.join(left)}")
    used = [each for each in patches if each.used]
    after = float(np.mean([each.after for each in used]))
    left_out = float(np.mean([each.left_out for each in used]))
    if left_out > OVERFITTED_RATIO * after + 0.3:
        notes.append(
            f"over-fitted: the mean ΔE of left-out patches is {left_out:.2f}, that of fitted"
            f" patches {after:.2f}"
            + ("; try it without a residual" if residual else "; use a chart of more patches")
        )
    before = float(np.mean([each.before for each in used]))
    if after > 0.8 * before and before > 1:
        notes.append(f"the match gains little: ΔE {before:.2f} before, {after:.2f} after")
    return tuple(notes)
