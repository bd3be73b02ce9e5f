"""Saturation in linear light, before the tone curve or with none.

Source: the saturation of ASC CDL 1.2, with the luminance weights of the gamut.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Function, Step, baked
from open_world.ends import some_ends
from open_world.spaces import luminance_weights
from open_world.tones import some_tone

NAME = "saturation in light"


def saturation(amount: float, weights: Array) -> Function:
    """The distance from luma, times an amount."""

    def apply(rgb: Array) -> Array:
        luma = (rgb @ weights)[..., None]
        return luma + amount * (rgb - luma)

    return apply


def generate(rng: np.random.Generator) -> Case:
    """More or less of it, in the target's gamut."""
    ends = some_ends(rng)
    amount = rng.uniform(0.7, 0.92) if rng.random() < 0.5 else rng.uniform(1.08, 1.4)
    step = Step("look", saturation(amount, luminance_weights(ends.target_gamut)))
    toned = rng.random() < 0.6
    tone = [Step("tone", some_tone(rng))] if toned else []
    steps = [*ends.opening(), ends.conversion(), step, *tone, *ends.closing()]
    truth = ends.toned(look=True) if toned else ends.truth(look=True)
    return baked(NAME, rng, truth, steps)
