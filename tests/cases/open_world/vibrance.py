"""Vibrance: pale colours gain more colour than colourful ones.

Source: common practice, as a formula: saturation that falls with the chroma of CIE
1976 or of Oklab (by colour-science), here of Oklab.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_ends
from open_world.hue_twist import in_oklab
from open_world.tones import some_tone

NAME = "vibrance"


def generate(rng: np.random.Generator) -> Case:
    """Chroma times 1 + a·exp(-chroma / c)."""
    ends = some_ends(rng)
    amount, reach = rng.uniform(-0.3, 0.6), rng.uniform(0.06, 0.15)
    amount = amount if abs(amount) > 0.1 else 0.25

    def livelier(lab: Array) -> Array:
        chroma = np.hypot(lab[..., 1], lab[..., 2])[..., None]
        gain = 1 + amount * np.exp(-chroma / reach)
        return np.concatenate([lab[..., :1], lab[..., 1:] * gain], axis=-1)

    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("tone", some_tone(rng)),
        Step("look", in_oklab(ends, livelier)),
        *ends.closing(),
    ]
    return baked(NAME, rng, ends.toned(look=True), steps)
