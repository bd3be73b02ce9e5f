"""Tables that mean nothing: noise, permuted nodes, a picture's colours.

Source: numpy's generator.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, cube_text, lattice, some_decimals
from open_world.smooth_map import NAMELESS

NAME = "no conversion: noise"


def generate(rng: np.random.Generator) -> Case:
    """Noise, the identity with its nodes shuffled, or sorted noise."""
    size = int(rng.choice([9, 17, 33]))
    way = int(rng.integers(3))
    if way == 0:
        rows = rng.random((size**3, 3))
    elif way == 1:
        rows = rng.permutation(lattice(size))
    else:
        rows = np.sort(rng.random((size**3, 3)), axis=0)
    return Case(NAME, cube_text(rows, size, some_decimals(rng)), NAMELESS)
