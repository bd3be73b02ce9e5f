"""A measured display as a view: how signals are seen on it, according to its model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.display.model import DisplayModel
from lutbench.measure.view import View
from lutbench.model.signal import Range, SignalFromRange
from lutbench.model.transforms import Array


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
