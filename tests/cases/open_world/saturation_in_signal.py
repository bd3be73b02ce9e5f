"""Saturation on the display signal, after everything.

Source: ASC CDL 1.2, saturation, with its weights 0.2126, 0.7152, 0.0722.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.saturation_in_light import saturation
from open_world.tones import some_tone

NAME = "saturation in signal"
WEIGHTS = np.array([0.2126, 0.7152, 0.0722])


def generate(rng: np.random.Generator) -> Case:
    """More or less of it, with a tone curve or clipped."""
    ends = some_ends(rng)
    amount = rng.uniform(0.7, 0.92) if rng.random() < 0.5 else rng.uniform(1.08, 1.4)
    toned = rng.random() < 0.6
    tone = [Step("tone", some_tone(rng))] if toned else []
    after = [Step("look", saturation(amount, WEIGHTS))]
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing(after)]
    truth = ends.toned(look=True) if toned else ends.truth(look=True)
    return baked(NAME, rng, truth, steps)
