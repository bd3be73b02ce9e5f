"""Highlights that lose colour on the way to white.

Source: common practice of display rendering: a mix with luminance that grows with it.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_ends
from open_world.spaces import luminance_weights
from open_world.tones import some_tone

NAME = "highlights desaturated towards white"


def generate(rng: np.random.Generator) -> Case:
    """A smooth step of luminance in stops decides how much of it is mixed in."""
    ends = some_ends(rng)
    weights = luminance_weights(ends.target_gamut)
    start, length, most = rng.uniform(0, 2), rng.uniform(2, 5), rng.uniform(0.5, 1)

    def paler(rgb: Array) -> Array:
        luminance = np.maximum(rgb @ weights, 1e-6)[..., None]
        t = np.clip((np.log2(luminance / 0.18) - start) / length, 0, 1)
        mix = most * t * t * (3 - 2 * t)
        return rgb + mix * (luminance - rgb)

    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("look", paler),
        Step("tone", some_tone(rng)),
        *ends.closing(),
    ]
    return baked(NAME, rng, ends.toned(look=True), steps)
