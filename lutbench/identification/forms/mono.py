"""Monochrome tables: luma of the signal alone comes out, the same in all channels.

The three channels before it cannot be told from one value, but all nodes together show the
matrix that mixes light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.identification.forms.free import MOST_STEP, Model, moved, rows_to_one, typical
from lutbench.identification.forms.linear import OTHERS
from lutbench.identification.samples import CODES
from lutbench.model.gamuts import BT709, BT2020, conversion
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array

SETTLES = 8
"""Steps of Gauss and Newton's method, from a matrix that may be far off."""

START = rows_to_one(conversion(BT2020, BT709).array)
"""A matrix that most are near to: from a wide gamut to that of a usual display."""


@dataclass(frozen=True)
class LumaModel(Model):
    """The nodes of a fit, as `free.Model`, of which only luma comes out."""

    def first(self, mixing: Array) -> Array:
        """M of every source, (s, 3, 3), to start from."""
        return np.array(np.broadcast_to(START, (len(self.lights.table), 3, 3)))

    def misses(self, matrix: Array, mixing: Array) -> Array:
        """What M leaves, in codes, (s, n, 3), the same in all channels."""
        return self._luma(matrix)[0]

    def refined(
        self, matrix: Array, mixing: Array, mixed: bool, steps: int, hold: float = 1e-6
    ) -> tuple[Array, Array, Array]:
        """M, Q as it was, and the error of each source: the best of all Gauss-Newton steps."""
        best, (misses, gain) = matrix, self._luma(matrix)
        least = typical(misses)
        for _ in range(max(steps, SETTLES)):
            matrix = self._stepped(matrix, misses[..., 0], gain, hold)
            misses, gain = self._luma(matrix)
            error = typical(misses)
            best = np.where((error < least)[:, None, None], matrix, best)
            least = np.minimum(error, least)
        return best, mixing, least

    def _luma(self, matrix: Array) -> tuple[Array, Array]:
        """Misses, and what the value gains with the light of each channel, (s, n, 3)."""
        off, before, gain = self._predicted(matrix, np.broadcast_to(np.eye(3), matrix.shape))
        luma = before @ np.array(CDL_WEIGHTS)
        misses = (self.space.outputs - luma[..., None]) * CODES
        return np.where(np.isnan(off), np.nan, misses), gain * np.array(CDL_WEIGHTS) * CODES

    def _stepped(self, matrix: Array, misses: Array, gain: Array, hold: float) -> Array:
        seen = ~np.isnan(misses)
        misses = np.nan_to_num(misses)
        scale = 2 * typical(np.where(seen, misses, np.nan)[..., None])[:, None] + 0.02
        weight = np.where(seen, 1 / np.hypot(1, misses / scale), 0.0)
        nodes = self.lights.nodes
        apart = [nodes[..., OTHERS[c]] - nodes[..., c : c + 1] for c in range(3)]
        slopes = np.concatenate([gain[..., c : c + 1] * apart[c] for c in range(3)], axis=2)
        slopes *= weight[..., None]
        turned = slopes.transpose(0, 2, 1)
        normal = turned @ slopes
        trace = np.trace(normal, axis1=1, axis2=2) / 6
        normal += (hold * trace + 1e-12)[:, None, None] * np.eye(6)
        step = np.linalg.solve(normal, turned @ (misses * weight)[..., None])[..., 0]
        return moved(matrix, np.clip(step, -MOST_STEP, MOST_STEP))
