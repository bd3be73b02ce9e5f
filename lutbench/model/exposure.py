"""Exposure: light times a power of two."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.transforms import Array, Transform


@dataclass(frozen=True)
class Exposure(Transform):
    """Light times 2^stops.

    >>> Exposure(1.0).apply([0.18, 0.18, 0.18]).tolist()
    [0.36, 0.36, 0.36]
    """

    stops: float = 0.0
    kind: ClassVar[str] = "exposure"

    def __post_init__(self) -> None:
        if not abs(self.stops) <= 20:
            raise DefinitionError(
                f"an exposure of {self.stops:g} stops is out of limits", accepted="-20 to 20"
            )

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(rgb * 2.0**self.stops)

    def inverse(self) -> Exposure:
        return Exposure(-self.stops)
