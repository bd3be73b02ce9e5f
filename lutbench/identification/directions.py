"""The direction of a look: hue, saturation and brightness by hue; tint and contrast of greys.

Hue and saturation are those of the vectorscope, so that they can be checked there; tint and
lightness are CIELAB, which follows what the eye sees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.result import HueChange, ToneChange
from lutbench.identification.scope import HUES, TURN, Weights, angles_of, luma_of, scope_of
from lutbench.measure.delta_e import View, lab_from_xyz
from lutbench.model.transforms import Array

SATURATED = (0.02, 0.35)
"""Lengths of Cb, Cr that count: weaker colours have no clear hue, stronger are rare in pictures."""

FADED = 0.005
"""The length of Cb, Cr from which a colour still has a hue after a look: a 10-bit code of noise
turns it by some ten degrees."""

REACH = dict.fromkeys(HUES, 30.0) | {"skin-side reds": 15.0}
"""Degrees to either side of a hue's angle that belong to it."""

FEWEST = 8
"""The fewest nodes from which a median is taken."""

PARTS = {"shadows": (8.0, 30.0), "mid tones": (40.0, 62.0), "highlights": (75.0, 97.0)}
"""CIE lightness of the grey scale before the look."""

AROUND_GREY = (35.0, 65.0)
"""CIE lightness over which the contrast around mid grey (50) is taken."""


@dataclass(frozen=True)
class GreyScale:
    """The grey scale before a look and after it, signals of shape (n, 3)."""

    before: Array
    after: Array

    def tint(self, luma: Array, weights: Weights) -> Array:
        """The offset of a grey of `luma` on the vectorscope after the look."""
        x = luma_of(self.before, weights)
        order = np.argsort(x, kind="stable")
        off = (scope_of(self.after, weights) - scope_of(self.before, weights))[order]
        return np.asarray(np.interp(luma, x[order], off.real + 1j * off.imag))


def on_scope(
    before: Array, after: Array, grey: GreyScale, weights: Weights
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Cb + i·Cr before and after (the tint of the grey scale taken out), and which count.

    A tint moves all colours the same way; without it, only changes of hue and saturation
    remain.
    """
    was = scope_of(before, weights)
    now = scope_of(after, weights) - grey.tint(luma_of(before, weights), weights)
    length = np.abs(was)
    return was, now, (length > SATURATED[0]) & (length < SATURATED[1])


def hue_changes(
    before: Array, after: Array, grey: GreyScale, delta_e: Array, weights: Weights
) -> tuple[HueChange, ...]:
    """The median change of each hue; `before` and `after` are signals, shape (n, 3)."""
    was, now, coloured = on_scope(before, after, grey, weights)
    # A colour that has become grey is not turned.
    turned = np.where(np.abs(now) > FADED, np.rad2deg(np.angle(now * np.conj(was))), 0.0)
    times = np.abs(now) / np.maximum(np.abs(was), 1e-9)
    brighter = luma_of(after, weights) - luma_of(before, weights)
    angle = np.rad2deg(np.angle(was))
    found = []
    for name, centre in angles_of(weights).items():
        apart = np.abs((angle - centre + 180) % 360 - 180)
        mine = coloured & (apart <= REACH[name])
        if mine.sum() < FEWEST:
            continue
        found.append(
            HueChange(
                name,
                float(np.median(turned[mine])),
                float(np.median(times[mine])),
                float(100 * np.median(brighter[mine])),
                float(np.median(delta_e[mine])),
                int(mine.sum()),
            )
        )
    return tuple(found)


def saturation_change(
    before: Array, after: Array, grey: GreyScale, weights: Weights, *, strong: bool = False
) -> float | None:
    """The median ratio of saturation over all hues; None where too few nodes are coloured.

    With `strong`, over the colours that are too strong to count otherwise.
    """
    was, now, coloured = on_scope(before, after, grey, weights)
    mine = np.abs(was) >= SATURATED[1] if strong else coloured
    if mine.sum() < FEWEST:
        return None
    return float(np.median(np.abs(now[mine]) / np.abs(was[mine])))


def tone_changes(before: Array, after: Array, view: View) -> tuple[ToneChange, ...]:
    """The changes of the grey scale; `before` and `after` are full-scale values, shape (n, 3)."""
    was, now = (lab_from_xyz(view.xyz(each), view.white_xyz) for each in (before, after))
    found = []
    for name, (low, high) in PARTS.items():
        mine = (was[:, 0] >= low) & (was[:, 0] <= high)
        if not mine.any():
            continue
        change = np.median((now - was)[mine], axis=0)
        found.append(ToneChange(name, *(float(value) for value in change)))
    return tuple(found)


def contrast_change(before: Array, after: Array, view: View) -> float | None:
    """The slope of signal after on signal before, around mid grey; full-scale values (n, 3)."""
    lightness = lab_from_xyz(view.xyz(before), view.white_xyz)[:, 0]
    mine: NDArray[np.bool_] = (lightness >= AROUND_GREY[0]) & (lightness <= AROUND_GREY[1])
    x, y = before.mean(axis=1)[mine], after.mean(axis=1)[mine]
    if len(x) < 2 or np.ptp(x) < 0.01:
        return None
    return float(np.polyfit(x, y, 1)[0])


def towards(hue: str, degrees: float) -> str:
    """The hue towards which `hue` turns.

    >>> towards("reds", 5.0), towards("reds", -5.0)
    ('yellow', 'magenta')
    """
    base = "reds" if hue == "skin-side reds" else hue
    other = TURN[(TURN.index(base) + (1 if degrees > 0 else -1)) % len(TURN)]
    if hue == "skin-side reds" and degrees < 0:
        other = "reds"
    return other.removesuffix("s")
