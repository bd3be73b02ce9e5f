"""Saturated colours made denser: darker as they grow more colourful.

Source: common practice of film-like grading, as a formula: light times a power of
the ratio of the smallest channel to the largest.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "density look"


def generate(rng: np.random.Generator) -> Case:
    """In light before the tone curve, or on the signal after it."""
    ends = some_ends(rng)
    strength = rng.uniform(0.15, 0.5)

    def denser(rgb: Array) -> Array:
        largest = np.maximum(rgb.max(axis=-1, keepdims=True), 1e-6)
        colourful = np.clip(1 - rgb.min(axis=-1, keepdims=True) / largest, 0, 1)
        return rgb * (1 - strength * colourful**1.5)

    tone = Step("tone", some_tone(rng))
    look = Step("look", denser)
    before = rng.random() < 0.5
    steps = [
        *ends.opening(),
        ends.conversion(),
        *([look, tone] if before else [tone]),
        *ends.closing([] if before else [look]),
    ]
    return baked(NAME, rng, ends.toned(look=True), steps)
