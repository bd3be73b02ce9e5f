"""Random smooth maps of the cube: no conversion at all.

Source: scipy.ndimage.gaussian_filter over noise, added to the identity.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter

from open_world.case import Array, Case, Truth, cube_text, lattice, some_decimals

NAME = "no conversion: smooth map"
NAMELESS = Truth(
    unnamed=frozenset({"source_curve", "source_gamut", "target_curve", "target_gamut"})
)


def field(rng: np.random.Generator, size: int) -> Array:
    """Smooth noise over the lattice, of unit size."""
    noise = rng.normal(size=(size, size, size, 3))
    reach = rng.uniform(0.12, 0.3) * size
    smooth = gaussian_filter(noise, sigma=(reach, reach, reach, 0), mode="reflect")
    return np.asarray((smooth - smooth.mean()) / np.abs(smooth).max()).reshape(-1, 3)


def generate(rng: np.random.Generator) -> Case:
    """Wild enough that no conversion explains it."""
    size = int(rng.choice([17, 33]))
    identity = lattice(size) if rng.random() < 0.6 else np.full((size**3, 3), 0.5)
    rows = np.clip(identity + rng.uniform(0.2, 0.5) * field(rng, size), 0, 1)
    return Case(NAME, cube_text(rows, size, some_decimals(rng)), NAMELESS)
