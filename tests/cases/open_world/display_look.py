"""A look on display values, with no conversion of a camera.

Source: ASC CDL 1.2, and the formulas of the other looks here.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, Truth, baked
from open_world.saturation_in_light import saturation
from open_world.spaces import SDR_NAMES

NAME = "look on display values"
WEIGHTS = np.array([0.2126, 0.7152, 0.0722])


def generate(rng: np.random.Generator) -> Case:
    """CDL with saturation, an S, or split toning, in any mixture."""
    slope, offset = rng.uniform(0.9, 1.15, 3), rng.uniform(-0.03, 0.03, 3)
    power, amount = rng.uniform(0.85, 1.2, 3), rng.uniform(0.6, 1.3)
    strength = rng.uniform(0.2, 0.8)
    tint = rng.normal(0, 0.02, 3)

    def cdl(rgb: Array) -> Array:
        return np.clip(rgb * slope + offset, 0, 1) ** power

    def s_curve(rgb: Array) -> Array:
        x = np.clip(rgb, 0, 1)
        return x + strength * (x * x * (3 - 2 * x) - x)

    def split(rgb: Array) -> Array:
        luma = np.clip(rgb @ WEIGHTS, 0, 1)[..., None]
        return rgb + tint * np.sin(2 * np.pi * luma)

    choices = [cdl, saturation(amount, WEIGHTS), s_curve, split]
    taken = rng.permutation(4)[: int(rng.integers(1, 4))]
    steps = [Step("look", choices[int(each)]) for each in sorted(taken)]
    steps.append(Step("clip", lambda rgb: np.clip(rgb, 0, 1)))
    # Any display curve is right as long as none of a camera is claimed.
    truth = Truth(
        source_curve=SDR_NAMES,
        target_curve=SDR_NAMES,
        source_range="full",
        target_range="full",
        look=True,
    )
    return baked(NAME, rng, truth, steps)
