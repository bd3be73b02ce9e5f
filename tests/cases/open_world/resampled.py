"""A LUT of 17 nodes resampled to 33 or 65.

Source: trilinear interpolation by scipy.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from open_world.case import Case, Step, cube_text, lattice, run, some_decimals
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "resampled from fewer nodes"


def generate(rng: np.random.Generator) -> Case:
    """17 to 33 or 65, or 33 to 65 (mostly even multiples, so that old nodes stay)."""
    ends = some_ends(rng)
    old, new = [(17, 33), (17, 33), (17, 65), (33, 65), (25, 33)][int(rng.integers(5))]
    toned = rng.random() < 0.5
    tone = [Step("tone", some_tone(rng))] if toned else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing()]
    # The rows have red fastest, so the table's first axis is blue.
    table = run(steps, lattice(old)).reshape(old, old, old, 3)
    axis = np.linspace(0, 1, old)
    rows = RegularGridInterpolator((axis, axis, axis), table)(lattice(new)[:, ::-1])
    text = cube_text(rows, new, some_decimals(rng))
    return Case(NAME, text, (ends.toned if toned else ends.truth)(), tuple(steps))
