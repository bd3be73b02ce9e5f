"""Tone curves on one number of each colour, its largest channel or its luminance.

The colour keeps its proportions, so that display light over its norm is light in the target
gamut over its norm, and the neutral axis tells the norm: for a given source all is linear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.identification.forms.free import EDGE, Space, typical
from lutbench.identification.forms.linear import rows_of
from lutbench.identification.forms.nodes import Ground, Lights
from lutbench.model.transforms import Array

DARK = 1e-9
"""Light under this has no proportions."""


@dataclass(frozen=True)
class NormModel:
    """The nodes of a fit, as `free.Model`; `weights` are those of a luminance, None the largest."""

    ground: Ground
    lights: Lights
    space: Space
    weights: tuple[float, float, float] | None

    def norm(self, light: Array) -> Array:
        """The number of light (..., 3) that the curve acts on: (...)."""
        if self.weights is None:
            return np.maximum(np.maximum(light[..., 0], light[..., 1]), light[..., 2])
        return np.asarray(light @ np.array(self.weights))

    def first(self, mixing: Array) -> Array:
        """M of every source, (s, 3, 3), by linear least squares; `mixing` means nothing here."""
        size, space, table = len(self.ground.grid), self.space, self.lights.table
        rising = np.maximum.accumulate(space.neutral.mean(axis=1)) + 1e-15 * np.arange(size)
        wanted = self.norm(space.outputs)
        place = np.interp(wanted, rising, np.arange(size))
        inside = (place > EDGE * size) & (place < (1 - EDGE) * size) & (wanted > 0)
        cell = np.minimum(place.astype(np.int64), size - 2)
        low, high = table[:, cell], table[:, cell + 1]
        level = np.maximum(low + (place - cell) * (high - low), DARK)
        aim = level[..., None] * (space.outputs / np.maximum(wanted, DARK)[:, None])
        weight = inside[:, None] * space.codes * (wanted / level)[..., None]
        return rows_of(self.lights.nodes, aim, weight)

    def refined(
        self, matrix: Array, mixing: Array, mixed: bool, steps: int, hold: float = 0.0
    ) -> tuple[Array, Array, Array]:
        """M, Q and the error of each source; the first fit is the best already."""
        best = self.first(np.eye(3))
        return best, mixing, typical(self.misses(best, mixing))

    def misses(self, matrix: Array, mixing: Array) -> Array:
        """What M leaves, in codes, (s, n, 3); NaN where the norm lies beyond the neutral axis."""
        light = self.lights.nodes @ matrix.transpose(0, 2, 1)
        level = self.norm(light)
        neutral = self.space.neutral.mean(axis=1)
        told = np.empty_like(level)
        for s in range(len(level)):
            told[s] = np.interp(level[s], self.lights.table[s], neutral, left=np.nan, right=np.nan)
        with np.errstate(all="ignore"):
            out = np.maximum(light, 0) * (told / level)[..., None]
        off = (self.space.outputs - out) * self.space.codes
        return np.where(np.isfinite(out), off, np.nan)
