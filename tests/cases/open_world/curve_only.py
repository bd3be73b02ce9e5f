"""The curve alone: decode and encode, channel by channel, as a 1D or a 3D LUT.

Source: the curves of colour-science and of the Recommendations.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from open_world.case import Case, Step, baked, baked_1d
from open_world.ends import ONE_CURVE, exposed, some_ends
from open_world.tones import some_tone

NAME = "curve only"


def generate(rng: np.random.Generator) -> Case:
    """Clipped, or through a tone curve, where neither end can be told for sure."""
    ends = some_ends(rng)
    toned = rng.random() < 0.4
    stops = 0.0 if toned else float(rng.choice([0, 0, rng.uniform(-1.5, 1.5)]))
    middle = [Step("tone", some_tone(rng))] if toned else [exposed(stops)]
    truth = replace(ends.truth(exposure=stops), kind="curve", source_gamut=None, target_gamut=None)
    if toned:
        everything = ("source_curve", "target_curve", "source_range", "exposure")
        truth = truth.without(ONE_CURVE, *everything)
    steps = [*ends.opening(), *middle, *ends.closing()]
    make = baked_1d if rng.random() < 0.6 else baked
    return make(NAME, rng, truth, steps)
