"""A LUT that somebody smoothed.

Source: scipy.ndimage.gaussian_filter over the lattice.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter

from open_world.case import Case, Step, cube_text, lattice, run, some_decimals
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "smoothed"


def generate(rng: np.random.Generator) -> Case:
    """A Gaussian of 0.4 to 0.9 nodes, the ends held."""
    ends = some_ends(rng)
    size = int(rng.choice([17, 33, 33]))
    sigma = rng.uniform(0.4, 0.9)
    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("tone", some_tone(rng)),
        *ends.closing(),
    ]
    table = run(steps, lattice(size)).reshape(size, size, size, 3)
    table = gaussian_filter(table, sigma=(sigma, sigma, sigma, 0), mode="nearest")
    text = cube_text(table.reshape(-1, 3), size, some_decimals(rng))
    return Case(NAME, text, ends.toned(look=None), tuple(steps))
