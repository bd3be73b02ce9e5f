"""A smooth look of any kind: a change of the signal after the curve.

out = v + B(v)·θ with v = N(L⁻¹(M·L)): the changes that looks make, each a few numbers in
which the whole is linear, and none of which moves a grey: channels mixed, a tint that goes
with luma and not with each channel, saturation and hue by level, by strength and by hue.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.identification.forms.free import FEWER, SHARE, Model, evenly, largest, moved, typical
from lutbench.identification.forms.linear import OTHERS
from lutbench.identification.samples import CODES
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array, Transform

HARMONICS = 4
"""Waves around the circle of hues that a saturation by hue is made of."""

NUMBERS = 18 + 2 * HARMONICS
"""Numbers of a look."""

HOLD = 1e-5
"""The weight that holds parameters which the nodes do not determine."""

MOST_STEP = 0.15
"""The most change of a matrix entry in a step."""

CIRCLE = np.array([[1, -0.5, -0.5], [0, np.sqrt(0.75), -np.sqrt(0.75)]])
"""From R G B to two colour differences at right angles."""


def changes(v: Array) -> Array:
    """What each number of a look does to values (..., 3): (..., 3, NUMBERS)."""
    y = (v @ np.array(CDL_WEIGHTS))[..., None]
    c = v - y
    a, b = np.moveaxis(v @ CIRCLE.T, -1, 0)
    strength = np.sqrt(a * a + b * b + 1e-8)
    turned = np.stack([c[..., 1] - c[..., 2], c[..., 2] - c[..., 0], c[..., 0] - c[..., 1]], -1)
    turned = turned - (turned @ np.array(CDL_WEIGHTS))[..., None]
    told = np.zeros((*v.shape, NUMBERS))
    for k in range(3):
        for j, other in enumerate(OTHERS[k]):
            told[..., k, 2 * k + j] = v[..., other] - v[..., k]
        told[..., k, 6 + k] = y[..., 0] ** 2 - v[..., k] ** 2
        told[..., k, 9 + k] = y[..., 0] ** 3 - v[..., k] ** 3
    for place, each in enumerate((c * y, c * y * y, turned * y, c * strength[..., None])):
        told[..., 12 + place] = each
    told[..., 16] = strength[..., None]
    told[..., 17] = strength[..., None] * y
    wave = (a + 1j * b) / strength
    for k in range(HARMONICS):
        turns = (wave ** (k + 1))[..., None]
        told[..., 18 + 2 * k], told[..., 19 + 2 * k] = c * turns.real, c * turns.imag
    return told


@dataclass(frozen=True)
class SmoothLook(Transform):
    """A look as its numbers, on the signal of a range with full-scale values `low` and `span`."""

    numbers: tuple[float, ...]
    low: float = 0.0
    span: float = 1.0
    kind: ClassVar[str] = "smooth_look"

    def _apply(self, rgb: Array) -> Array:
        values = self.low + self.span * rgb
        return np.asarray(rgb + changes(values) @ np.array(self.numbers) / self.span)


@dataclass(frozen=True)
class LookModel(Model):
    """The nodes of a fit, as `free.Model`, with a look instead of a second matrix."""

    def misses(self, matrix: Array, mixing: Array) -> Array:
        """The error for M and θ of each source, in codes, (s, n, 3); NaN if unpredicted."""
        return _left(mixing, *self._seen(matrix)[:2])

    def _seen(self, matrix: Array) -> tuple[Array, Array, Array]:
        """Without a look: misses; what each of its numbers does, in codes; the gain with light."""
        off, before, gain = self._predicted(matrix, np.broadcast_to(np.eye(3), matrix.shape))
        return off, changes(before) * CODES, gain

    def slopes(self, matrix: Array) -> Array:
        """What each number of a look does to one source's misses, in codes, (n, 3, NUMBERS)."""
        return np.asarray(self._seen(matrix[None])[1][0])

    def refined(
        self, matrix: Array, mixing: Array, mixed: bool, steps: int, hold: float = HOLD
    ) -> tuple[Array, Array, Array]:
        """M, θ and the error of each source: the best of all Gauss-Newton steps."""
        there = self._seen(matrix)
        best = evenly(_left(mixing, *there[:2]))
        for number in range(steps):
            share = SHARE if 2 * number < steps else FEWER
            m, numbers = self._look_step(matrix, mixing, there, share)
            now = self._seen(m)
            error = evenly(_left(numbers, *now[:2]))
            better = error < best
            matrix = np.where(better[:, None, None], m, matrix)
            mixing = np.where(better[:, None], numbers, mixing)
            best = np.where(better, error, best)
            for old, new in zip(there, now, strict=True):
                old[better] = new[better]
        return matrix, mixing, best

    def _look_step(
        self, matrix: Array, numbers: Array, there: tuple[Array, Array, Array], share: float
    ) -> tuple[Array, Array]:
        off, told, gain = there
        miss = _left(numbers, off, told)
        seen = ~np.isnan(miss[..., 0])
        size = largest(np.abs(np.nan_to_num(miss)))
        scale = 2 * typical(miss, share)[:, None] + 0.02
        weight = np.where(seen, 1 / np.hypot(1, size / scale), 0.0)[..., None]
        nodes = self.lights.nodes
        s, n, _ = nodes.shape
        through = CODES * moved(np.broadcast_to(np.eye(3), matrix.shape), numbers[:, :6])
        slopes = np.empty((s, n, 3, 6 + NUMBERS))
        for e in range(3):
            for j, other in enumerate(OTHERS[e]):
                rise = (nodes[..., other] - nodes[..., e]) * gain[..., e]
                slopes[..., 2 * e + j] = rise[..., None] * through[:, None, :, e]
        slopes[..., 6:] = told
        flat = (slopes * weight[..., None]).reshape(s, 3 * n, 6 + NUMBERS)
        turned = flat.transpose(0, 2, 1)
        normal = turned @ flat
        held = HOLD * np.trace(normal, axis1=1, axis2=2) / (6 + NUMBERS)
        normal += (held + 1e-12)[:, None, None] * np.eye(6 + NUMBERS)
        right = turned @ (np.nan_to_num(off) * weight).reshape(s, 3 * n, 1)
        step = np.linalg.solve(normal, right)[..., 0]
        moves, look = np.clip(step[:, :6], -MOST_STEP, MOST_STEP), np.asarray(step[:, 6:], float)
        return moved(matrix, moves), look


def _left(numbers: Array, off: Array, told: Array) -> Array:
    """What looks (s, NUMBERS) leave of misses, in codes, (s, n, 3)."""
    return np.asarray(off - (told @ numbers[:, None, :, None])[..., 0])
