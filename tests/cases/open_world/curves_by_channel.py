"""A print-like S that differs by channel.

Source: the logistic curve of density over log exposure, as the textbooks of
sensitometry draw it, with a gamma and a speed for each layer.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_ends

NAME = "print-like, curves that differ by channel"


def generate(rng: np.random.Generator) -> Case:
    """Three layers: density between a least and a most, then light through it."""
    ends = some_ends(rng)
    slope = rng.uniform(2.2, 3.0) * (1 + rng.uniform(-0.08, 0.08, 3))
    speed = rng.uniform(0.0, 0.25) + rng.uniform(-0.05, 0.05, 3)
    least = rng.uniform(0.0, 0.03, 3)
    most = rng.uniform(2.4, 3.4, 3)

    def printed(rgb: Array) -> Array:
        exposure = np.log10(np.maximum(rgb, 1e-6) / 0.18) + speed
        density = least + (most - least) / (1 + np.exp(slope * (exposure + 0.45)))
        return 10**-density

    steps = [*ends.opening(), ends.conversion(), Step("tone", printed), *ends.closing()]
    return baked(NAME, rng, ends.toned(look=True), steps)
