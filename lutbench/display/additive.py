"""The additive part of a display model: curves, primaries and black, fitted together.

The fit minimises the difference in L*a*b* by Gauss–Newton steps. Each curve is a smoothed
spline of lightness from 0 to 1.
"""

from __future__ import annotations

import numpy as np

from lutbench.algebra.repairing import isotonic
from lutbench.display.measurements import Measurements
from lutbench.display.model import CURVE_ROWS, DisplayModel, light_of, lightness
from lutbench.display.patches import levels
from lutbench.measure.delta_e import LAB_EPSILON, LAB_SLOPE, lab_from_xyz
from lutbench.model.transforms import Array

KNOTS = 24
"""Spline pieces of a curve."""

MAX_STEPS = 10
"""Gauss–Newton steps of a fit."""

CHROMA_SHARE = 0.03
"""Per unit of chroma: a difference in a* or b* is divided by 1 + this × chroma. ΔE 2000 has 0.045
for chroma and 0.015 for hue."""

PENALTY = 100.0
"""Weight of squared second differences of the spline's coefficients against squared L*a*b*."""


class _Additive:
    """The fit of curves, primaries and black by Gauss–Newton steps."""

    def __init__(self, read: Measurements, smoothness: float) -> None:
        from scipy.interpolate import BSpline

        self.read = read
        knots = np.r_[[0.0] * 3, levels(KNOTS + 1), [1.0] * 3]
        self.count = KNOTS + 3
        signal = np.clip(read.signal, 0, 1)
        self.basis = [
            np.asarray(BSpline.design_matrix(signal[:, c], knots, 3).todense()) for c in range(3)
        ]
        self.rows = np.asarray(
            BSpline.design_matrix(np.linspace(0, 1, CURVE_ROWS), knots, 3).todense()
        )
        self.greville = np.array([knots[k + 1 : k + 4].mean() for k in range(self.count)])
        black, white = read.mean(0, 0, 0), read.mean(1, 1, 1)
        assert black is not None
        assert white is not None
        self.black, self.white = black, white
        self.wanted = lab_from_xyz(read.xyz, white)
        # The chroma of saturated colours counts less, as it does in ΔE 2000.
        chroma = np.hypot(self.wanted[:, 1], self.wanted[:, 2])
        share = 1 / (1 + CHROMA_SHARE * chroma)
        self.weight = np.stack([np.ones_like(chroma), share, share], axis=1)
        self.penalty = np.diff(np.eye(self.count), n=2, axis=0) * np.sqrt(PENALTY * smoothness)

    def fitted(self) -> DisplayModel:
        """The fitted model."""
        curves, primaries, black = self._start()
        left = self._cost(curves, primaries, black)
        damping = 1e-4
        for _ in range(MAX_STEPS):
            step = self._step(curves, primaries, black, damping)
            inner = 3 * (self.count - 2)
            moved = curves.copy()
            moved[1:-1] += step[:inner].reshape(3, -1).T
            trial = (
                moved,
                primaries + self.white[1] * step[inner : inner + 9].reshape(3, 3),
                black + self.white[1] * step[inner + 9 :],
            )
            cost = self._cost(*trial)
            if cost >= left:
                damping *= 10
                continue
            done = left - cost < 1e-6 * left
            (curves, primaries, black), left = trial, cost
            damping /= 10
            if done:
                break
        return DisplayModel(self._rising(curves), primaries, black)

    def _start(self) -> tuple[Array, Array, Array]:
        primaries = np.column_stack([_mean(self.read, c) for c in range(3)]) - self.black[:, None]
        greys = np.ptp(self.read.signal, axis=1) < 1e-9
        order = np.argsort(self.read.signal[greys, 0], kind="stable")
        level = self.read.signal[greys, 0][order]
        light = (self.read.xyz[greys, 1][order] - self.black[1]) / (self.white[1] - self.black[1])
        curve = np.interp(self.greville, level, np.clip(lightness(light), 0, 1))
        curve[0], curve[-1] = 0.0, 1.0
        return np.repeat(curve[:, None], 3, axis=1), primaries, self.black.copy()

    def _parts(self, curves: Array, primaries: Array, black: Array) -> tuple[Array, Array, Array]:
        """Lightness and light of each channel, and XYZ, at the readings: shapes (n, 3)."""
        lightness_ = np.stack([self.basis[c] @ curves[:, c] for c in range(3)], axis=1)
        light = light_of(lightness_)
        return lightness_, light, black + light @ primaries.T

    def _cost(self, curves: Array, primaries: Array, black: Array) -> float:
        xyz = self._parts(curves, primaries, black)[2]
        residual = self.weight * (lab_from_xyz(xyz, self.white) - self.wanted)
        return float((residual**2).sum() + ((self.penalty @ curves) ** 2).sum())

    def _step(self, curves: Array, primaries: Array, black: Array, damping: float) -> Array:
        lightness_, light, xyz = self._parts(curves, primaries, black)
        residual = self.weight * (lab_from_xyz(xyz, self.white) - self.wanted)
        lab_by_xyz = self.weight[:, :, None] * _lab_slope(xyz, self.white)
        slope = (light_of(lightness_ + 1e-6) - light_of(lightness_ - 1e-6)) / 2e-6
        columns = []
        for c in range(3):
            by_light = lab_by_xyz @ primaries[:, c]
            inner = self.basis[c][:, 1:-1] * slope[:, c, None]
            columns.append(by_light[:, :, None] * inner[:, None, :])
        # Primaries row by row (X, Y, Z), then black; in units of white's luminance.
        scaled = lab_by_xyz * self.white[1]
        columns.append((scaled[:, :, :, None] * light[:, None, None, :]).reshape(len(xyz), 3, 9))
        columns.append(scaled)
        jacobian = np.concatenate(columns, axis=2).reshape(3 * len(xyz), -1)
        normal = jacobian.T @ jacobian
        right = -jacobian.T @ residual.ravel()
        bend = self.penalty[:, 1:-1].T @ self.penalty
        for c in range(3):
            at = slice(c * (self.count - 2), (c + 1) * (self.count - 2))
            normal[at, at] += bend[:, 1:-1]
            right[at] -= bend @ curves[:, c]
        normal[np.diag_indices_from(normal)] *= 1 + damping
        normal[np.diag_indices_from(normal)] += 1e-9
        return np.asarray(np.linalg.solve(normal, right))

    def _rising(self, curves: Array) -> Array:
        return isotonic(np.clip(light_of(self.rows @ curves), 0, 1))


def _mean(read: Measurements, channel: int) -> Array:
    found = read.mean(*np.eye(3)[channel])
    assert found is not None
    return found


def _lab_slope(xyz: Array, white: Array) -> Array:
    """∂(L*, a*, b*)/∂(X, Y, Z), shape (n, 3, 3)."""
    ratio = xyz / white
    root = np.cbrt(np.maximum(ratio, LAB_EPSILON)) ** -2 / 3
    f = np.where(ratio > LAB_EPSILON, root, LAB_SLOPE) / white
    mix = np.array([[0, 116, 0], [500, -500, 0], [0, 200, -200]], dtype=np.float64)
    return np.asarray(mix * f[:, None, :])


def fit_additive(read: Measurements, smoothness: float) -> DisplayModel:
    """The additive model nearest to readings, which must include black, white and full primaries.

    `smoothness` is the weight of the curves' squared second differences.
    """
    return _Additive(read, smoothness).fitted()
