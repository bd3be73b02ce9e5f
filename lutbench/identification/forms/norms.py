"""Tone curves on one number of each colour: see `carriers`.

The neutral axis tells what the curve does to the number, and the carrier what becomes of the
rest of the colour, so that for a given source all is linear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.identification.carriers import Carrier
from lutbench.identification.common import DARK
from lutbench.identification.forms.free import EDGE, Space, typical
from lutbench.identification.forms.linear import rows_of
from lutbench.identification.forms.nodes import Ground, Lights
from lutbench.model.interpolation import interp_rows
from lutbench.model.transforms import Array


@dataclass(frozen=True)
class NormModel:
    """The nodes of a fit, as `free.Model`, with the carrier of the tone curve."""

    ground: Ground
    lights: Lights
    space: Space
    carrier: Carrier

    def first(self, mixing: Array) -> Array:
        """M of every source, (s, 3, 3), by linear least squares; `mixing` means nothing here."""
        size, space, table = len(self.ground.grid), self.space, self.lights.table
        rising = np.maximum.accumulate(space.neutral.mean(axis=1)) + 1e-15 * np.arange(size)
        wanted = self.carrier.value_after(space.outputs)
        place = np.interp(wanted, rising, np.arange(size))
        inside = (place > EDGE * size) & (place < (1 - EDGE) * size) & (wanted > 0)
        cell = np.minimum(place.astype(np.int64), size - 2)
        low, high = table[:, cell], table[:, cell + 1]
        level = np.maximum(low + (place - cell) * (high - low), DARK)
        aim = self.carrier.undone(space.outputs, level, wanted)
        weight = inside[:, None] * space.codes * (wanted / level)[..., None] * self._counted()
        weight = np.where(np.isfinite(aim), weight, 0.0)
        return rows_of(self.lights.nodes, np.nan_to_num(aim), weight)

    def refined(
        self, matrix: Array, mixing: Array, mixed: bool, steps: int, hold: float = 0.0
    ) -> tuple[Array, Array, Array]:
        """M, Q and the error of each source; the first fit is the best already."""
        best = self.first(np.eye(3))
        return best, mixing, typical(self.misses(best, mixing))

    def misses(self, matrix: Array, mixing: Array) -> Array:
        """What M leaves, in codes, (s, n, 3); NaN where the number is beyond the neutral axis."""
        light = self.lights.nodes @ matrix.transpose(0, 2, 1)
        level = self.carrier.value(light)
        told = interp_rows(level, self.lights.table, self.space.neutral.mean(axis=1))
        with np.errstate(all="ignore"):
            out = self.carrier.moved(light, level, told)
        off = (self.space.outputs - out) * self.space.codes
        return np.where(np.isfinite(out) & (self._counted() > 0), off, np.nan)

    def _counted(self) -> Array:
        """Which nodes count, (s, n, 1): not those that were cut off before."""
        nodes = self.lights.nodes
        if not (self.carrier.held and self.ground.capped):
            return np.ones((*nodes.shape[:2], 1))
        within = nodes.max(axis=2) <= self.lights.table[:, -1:]
        return np.asarray(within[..., None], np.float64)
