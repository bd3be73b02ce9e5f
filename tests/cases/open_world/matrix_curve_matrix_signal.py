"""A tone curve in light, then a matrix on the display signal.

Source: the form is common practice (colour mixing after the curve, in signal).
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.matrix_curve_matrix_light import inset
from open_world.tones import some_tone

NAME = "matrix, curve, matrix in signal"


def generate(rng: np.random.Generator) -> Case:
    """A matrix on signal, away from white or towards it, that keeps neutrals."""
    ends = some_ends(rng)
    matrix = inset(rng, 0.1)
    matrix = matrix if rng.random() < 0.4 else np.linalg.inv(matrix)
    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("tone", some_tone(rng)),
        *ends.closing([Step("mixing", lambda rgb: rgb @ matrix.T)]),
    ]
    return baked(NAME, rng, ends.toned(look=True), steps)
