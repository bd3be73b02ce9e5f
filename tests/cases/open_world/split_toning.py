"""Shadows towards one colour, highlights towards its complement.

Source: common practice (split toning), as a formula on the signal's luma.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "split toning"


def generate(rng: np.random.Generator) -> Case:
    """A colour without luma, added with opposite signs in shadows and highlights."""
    ends = some_ends(rng)
    weights = np.array([0.2126, 0.7152, 0.0722])
    tint = rng.normal(size=3)
    tint -= tint @ weights
    tint *= rng.uniform(0.015, 0.05) / np.abs(tint).max()

    def toned(rgb: Array) -> Array:
        luma = np.clip(rgb @ weights, 0, 1)[..., None]
        return rgb + tint * np.sin(2 * np.pi * luma) * -1.0

    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.7 else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing([Step("look", toned)])]
    return baked(NAME, rng, (ends.toned if tone else ends.truth)(look=True), steps)
