"""The model of a display: signal to the XYZ that it shows, and back; the display as a view.

An additive display: XYZ = black + Σ_c P_c·L_c(V_c), with a rising curve L from 0 to 1
for each channel. Whatever is not additive (channels that act on each other) is a smooth
shift of L*a*b*, stored in a lattice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.delta_e import LAB_EPSILON, LAB_SLOPE, View, lab_from_xyz
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range, SignalFromRange
from lutbench.model.transforms import Array
from lutbench.tables.lut import Lut3D

CURVE_ROWS = 1025
"""Rows of a curve: the 1024 codes of 10 bits, and one more."""

LAB_SCALE = 100.0
"""L*a*b* units: the residual lattice stores L*, a*, b* divided by this."""

MAX_STEPS = 12
"""Levenberg–Marquardt steps of the inverse; a colour that is near enough stops earlier."""

FIXED_POINT_STEPS = 3
"""Steps of the inverse that only subtract the shift; each costs a quarter of a full step."""

STEP_SIGNAL = 1e-4
"""Signal over which the slope of the residual is taken: far less than the distance of its nodes."""

NEAR_LAB = 0.01
"""L*a*b* units: a colour this near is found. The eye sees about a hundred times as much."""

DAMPING = 1e-3
"""First damping of a step of the inverse, as a share of the squared `LAB_SCALE`."""

MARGIN_LIGHT = 0.05
"""Light of a channel outside 0..1 up to which a colour may be in reach with the residual."""

MOST_DAMPING = 10.0
"""Damping above which the search for a colour ends: it gets no nearer."""


def lightness(light: Array) -> Array:
    """L*/100 of light relative to white, on the whole real line (CIE 15:2018, 8.2.1).

    >>> float(lightness(np.array(0.18)).round(4))
    0.495
    """
    root = np.cbrt(np.maximum(light, LAB_EPSILON))
    f = np.where(light > LAB_EPSILON, root, LAB_SLOPE * light + 4 / 29)
    return np.asarray((116 * f - 16) / 100)


def light_of(lightness_: Array) -> Array:
    """The light of L*/100: the inverse of `lightness`."""
    f = (100 * lightness_ + 16) / 116
    return np.asarray(np.where(f > 6 / 29, f**3, (f - 4 / 29) / LAB_SLOPE))


def xyz_from_lab(lab: Array, white: Array) -> Array:
    """XYZ of L*a*b*: the inverse of `lutbench.measure.delta_e.lab_from_xyz`."""
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    return np.asarray(np.where(f > 6 / 29, f**3, (f - 4 / 29) / LAB_SLOPE) * white)


@dataclass(frozen=True, eq=False)
class DisplayModel:
    """What a display shows."""

    curves: Array
    """Light of each channel, 0..1 and rising, at equal steps of signal 0..1, shape (rows, 3)."""
    primaries: Array
    """XYZ of full red, green and blue less black, in cd/m², as columns, shape (3, 3)."""
    black: Array
    """XYZ of signal 0 by the additive part, in cd/m², shape (3,)."""
    residual: Lut3D | None = None
    """Shift of L*a*b* (divided by `LAB_SCALE`) by signal; None for an additive display."""

    @cached_property
    def white(self) -> Array:
        """XYZ of signal 1, in cd/m²."""
        return np.asarray(self.xyz(np.ones(3)))

    @cached_property
    def darkest(self) -> Array:
        """XYZ of signal 0, in cd/m²: `black`, shifted by the residual."""
        return np.asarray(self.xyz(np.zeros(3)))

    @cached_property
    def _lab_white(self) -> Array:
        return np.asarray(self.black + self.primaries.sum(axis=1))

    @property
    def gamut(self) -> Gamut:
        """The chromaticities of primaries and white, black subtracted."""
        columns = self.xyz(np.vstack([np.eye(3), np.ones(3)])).T - self.darkest[:, None]
        xy = (columns[:2] / columns.sum(axis=0)).T.tolist()
        red, green, blue, white = (tuple(each) for each in xy)
        return Gamut("display", (red, green, blue), white, "measured")

    def light(self, signal: Array) -> Array:
        """Light of each channel, 0..1, for signals of shape (..., 3), clamped to 0..1."""
        grid = np.linspace(0, 1, len(self.curves))
        parts = [np.interp(signal[..., c], grid, self.curves[:, c]) for c in range(3)]
        return np.stack(parts, axis=-1)

    def xyz(self, signal: Array) -> Array:
        """XYZ in cd/m² of signals of shape (..., 3)."""
        plain = self.black + self.light(signal) @ self.primaries.T
        if self.residual is None:
            return np.asarray(plain)
        return xyz_from_lab(self.lab(signal), self._lab_white)

    def lab(self, signal: Array, shift: Array | None = None) -> Array:
        """L*a*b* of signals, shape (..., 3), with the display's own white at L* = 100.

        `shift` is the residual's shift at these signals, if it is known already.
        """
        plain = self.black + self.light(signal) @ self.primaries.T
        found = lab_from_xyz(plain, self._lab_white)
        if self.residual is None:
            return found
        return found + (self._shift(signal) if shift is None else shift)

    def _shift(self, signal: Array) -> Array:
        """The residual's shift of L*a*b*, shape (..., 3)."""
        assert self.residual is not None
        held = np.clip(signal, 0, 1).reshape(-1, 3)
        return np.asarray(LAB_SCALE * self.residual.apply(held).reshape(signal.shape))

    def linear(self, xyz: Array) -> Array:
        """Light of the channels that an additive display needs; outside 0..1 it is out of reach."""
        return np.asarray((xyz - self.black) @ np.linalg.inv(self.primaries).T)

    def signal_of_light(self, light: Array) -> Array:
        """The signal of each channel's light, clamped to 0..1.

        Where a curve is flat: the lowest signal at its top, the highest at its bottom.
        """
        grid = np.linspace(0, 1, len(self.curves))
        found = np.empty_like(light)
        for c in range(3):
            rows, first = np.unique(self.curves[:, c], return_index=True)
            at = grid[first]
            if len(first) > 1:  # a flat bottom ends one row before the next value
                at[0] = grid[first[1] - 1]
            found[..., c] = np.interp(light[..., c], rows, at)
        return found

    def signal(self, xyz: Array) -> Array:
        """The signal, 0..1, that shows XYZ (in cd/m²) or the nearest to it, shape (..., 3).

        Exact for an additive display in its reach; out of reach each channel's light is
        clamped to 0..1. With a residual, the nearest L*a*b* is searched for from there.
        """
        start = self.signal_of_light(np.clip(self.linear(xyz), 0, 1))
        if self.residual is None:
            return start
        # A colour out of reach is replaced by the one that the additive part clamps it to.
        clamped = self.black + np.clip(self.linear(xyz), 0, 1) @ self.primaries.T
        wanted = lab_from_xyz(np.where(self._within(xyz), xyz, clamped), self._lab_white)
        flat = self._nearest(start.reshape(-1, 3), wanted.reshape(-1, 3))
        return flat.reshape(start.shape)

    def _within(self, xyz: Array) -> NDArray[np.bool_]:
        light = self.linear(xyz)
        near = (light >= -MARGIN_LIGHT) & (light <= 1 + MARGIN_LIGHT)
        return np.asarray(near.all(axis=-1))[..., None]

    def _nearest(self, signal: Array, wanted: Array) -> Array:
        """The signals, clamped to 0..1, whose L*a*b* is nearest to `wanted`, shape (n, 3).

        First fixed-point steps: the additive part is inverted for `wanted` less the residual's
        shift. The shift hardly changes within such a step, so most colours need no more. Then
        Levenberg–Marquardt steps for the others.
        """
        best, shift = signal.copy(), self._shift(signal)
        least = ((self.lab(signal, shift) - wanted) ** 2).sum(axis=1)
        for _ in range(FIXED_POINT_STEPS):
            left = np.flatnonzero(least > NEAR_LAB**2)
            asked = xyz_from_lab(wanted[left] - shift[left], self._lab_white)
            trial = self.signal_of_light(np.clip(self.linear(asked), 0, 1))
            tried = self._shift(trial)
            off = ((self.lab(trial, tried) - wanted[left]) ** 2).sum(axis=1)
            better = off < least[left]
            kept = left[better]
            best[kept], shift[kept], least[kept] = trial[better], tried[better], off[better]
        damping = np.full(len(signal), DAMPING)
        active = np.arange(len(signal))
        for _ in range(MAX_STEPS):
            active = active[(least[active] > NEAR_LAB**2) & (damping[active] < MOST_DAMPING)]
            if not active.size:
                break
            here = best[active]
            trial = np.clip(here + self._step(here, wanted[active], damping[active]), 0, 1)
            off = ((self.lab(trial) - wanted[active]) ** 2).sum(axis=1)
            better = off < least[active]
            best[active[better]], least[active[better]] = trial[better], off[better]
            damping[active] *= np.where(better, 0.2, 10)
        return best

    def _step(self, signal: Array, wanted: Array, damping: Array) -> Array:
        found = self.lab(signal)
        columns = []
        for c in range(3):
            side = np.where(signal[:, c] > 0.5, -STEP_SIGNAL, STEP_SIGNAL)
            moved = signal.copy()
            moved[:, c] += side
            columns.append((self.lab(moved) - found) / side[:, None])
        slope = np.stack(columns, axis=2)
        normal = slope.transpose(0, 2, 1) @ slope
        normal += (damping * LAB_SCALE**2)[:, None, None] * np.eye(3)
        right = slope.transpose(0, 2, 1) @ (wanted - found)[..., None]
        return np.asarray(np.linalg.solve(normal, right)[..., 0])


@dataclass(frozen=True)
class ModelView(View):
    """How full-scale values are seen on a measured display.

    `model` is the display's model, `coding` the range of the code values that it takes;
    `white_luminance` is that of its white, in cd/m².
    """

    model: DisplayModel | None = None
    coding: Range = "full"

    @property
    def white_xyz(self) -> Array:
        """XYZ of the display's white, Y = 1."""
        assert self.model is not None
        return np.asarray(self.model.white / self.model.white[1])

    def xyz(self, values: Array) -> Array:
        """XYZ of full-scale values, shape (..., 3), Y = 1 at the display's white."""
        assert self.model is not None
        signal = SignalFromRange(self.coding).apply(np.asarray(values, dtype=np.float64))
        return np.asarray(self.model.xyz(np.clip(signal, 0, 1)) / self.model.white[1])

    def light(self, values: Array) -> Array:
        """Linear R G B in the encoding's gamut, shape (..., 3), 1.0 at the display's white."""
        return np.asarray(self.xyz(values) @ np.linalg.inv(self.encoding.gamut.to_xyz).T)
