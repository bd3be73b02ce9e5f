"""Contrast as a power around a pivot, in light before the display or on the signal.

Source: ASC CDL 1.2 (slope and power with a pivot), common practice of grading.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Function, Step, baked
from open_world.ends import some_ends

NAME = "pivoted power contrast"


def power_around(pivot: float, gamma: float) -> Function:
    """pivot·(x / pivot)^gamma."""
    return lambda rgb: pivot * (np.maximum(rgb, 0) / pivot) ** gamma


def generate(rng: np.random.Generator) -> Case:
    """In light it is a tone of its own; on a signal it joins the target's power."""
    ends = some_ends(rng)
    gamma = rng.uniform(0.8, 0.93) if rng.random() < 0.3 else rng.uniform(1.07, 1.5)
    if rng.random() < 0.5:
        step = [Step("tone", power_around(0.18, gamma))]
        steps = [*ends.opening(), ends.conversion(), *step, *ends.closing()]
    else:
        after = [Step("look", power_around(rng.uniform(0.35, 0.5), gamma))]
        steps = [*ends.opening(), ends.conversion(), *ends.closing(after)]
    return baked(NAME, rng, ends.toned(look=None), steps)
