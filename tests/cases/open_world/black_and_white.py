"""Black lifted and white lowered on the display signal.

Source: common practice of a faded look, as a straight line on the signal.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "black lifted, white lowered"


def generate(rng: np.random.Generator) -> Case:
    """Black at 1 to 4 %, white at 90 to 97 %."""
    ends = some_ends(rng, legal=0.1)
    black, white = rng.uniform(0.01, 0.04), rng.uniform(0.90, 0.97)
    after = [Step("look", lambda rgb: black + np.clip(rgb, 0, 1) * (white - black))]
    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.7 else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing(after)]
    return baked(NAME, rng, (ends.toned if tone else ends.truth)(look=None), steps)
