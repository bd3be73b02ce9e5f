"""Gamut compression with limits of its own, then a tone curve or none.

Source: the formula of the open Academy reference gamut compression (version 1.3,
distances from the largest channel), with other thresholds, limits and power.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "gamut compression with other limits"


def generate(rng: np.random.Generator) -> Case:
    """Thresholds 0.6 to 0.9, limits 1.1 to 1.6, powers 1 to 2.5."""
    ends = some_ends(rng)
    threshold, limit = rng.uniform(0.6, 0.9, 3), rng.uniform(1.1, 1.6, 3)
    power = rng.uniform(1.0, 2.5)
    scale = (limit - threshold) / (((1 - threshold) / (limit - threshold)) ** -power - 1) ** (
        1 / power
    )

    def compress(rgb: Array) -> Array:
        largest = rgb.max(axis=-1, keepdims=True)
        size = np.where(np.abs(largest) < 1e-12, 1.0, np.abs(largest))
        distance = (largest - rgb) / size
        over = np.maximum(distance - threshold, 0) / scale
        inside = threshold + scale * over / (1 + over**power) ** (1 / power)
        return largest - np.where(distance > threshold, inside, distance) * size

    toned = rng.random() < 0.7
    tone = [Step("tone", some_tone(rng))] if toned else []
    look = Step("compression", compress)
    steps = [*ends.opening(), ends.conversion(), look, *tone, *ends.closing()]
    return baked(NAME, rng, (ends.toned if toned else ends.truth)(look=None), steps)
