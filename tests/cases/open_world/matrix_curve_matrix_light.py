"""A tone curve between two matrices in light: an inset before it, an outset after it.

Source: the form is common practice of display transforms: primaries drawn towards
white by a share for each, with a turn, before the curve, and undone (or nearly) after.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import FREE_MATRIX, some_ends
from open_world.tones import photoreceptor, sigmoid_in_stops

NAME = "matrix, curve, matrix in light"


def inset(rng: np.random.Generator, strength: float = 0.2) -> Array:
    """A matrix that keeps neutrals and draws each channel towards white, with a turn."""
    off = rng.uniform(0.02, strength, (3, 3))
    np.fill_diagonal(off, 0)
    return off + np.diag(1 - off.sum(axis=1))


def generate(rng: np.random.Generator) -> Case:
    """Inset, sigmoid, outset; the outset undoes the inset in half of the LUTs."""
    ends = some_ends(rng)
    first = inset(rng)
    undone = rng.random() < 0.5
    last = np.linalg.inv(first if undone else inset(rng, 0.12))
    tone = (sigmoid_in_stops, photoreceptor)[int(rng.integers(2))](rng)
    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("inset", lambda rgb: rgb @ first.T),
        Step("tone", tone),
        Step("outset", lambda rgb: rgb @ last.T),
        *ends.closing(),
    ]
    truth = ends.toned(look=None)
    if not undone:
        truth = truth.without(FREE_MATRIX, "source_gamut", "target_gamut")
    return baked(NAME, rng, truth, steps)
