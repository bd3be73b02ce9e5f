"""A LUT that went through whole codes of 8 or 10 bits.

Source: common practice of devices that keep tables as codes.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "baked through 8 or 10 bits"


def generate(rng: np.random.Generator) -> Case:
    """Every node rounded to a code."""
    ends = some_ends(rng, legal=0.3)
    codes = float(rng.choice([255, 1023]))
    toned = rng.random() < 0.5
    tone = [Step("tone", some_tone(rng))] if toned else []
    rounding = Step("rounding", lambda rgb: np.round(rgb * codes) / codes)
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing(), rounding]
    return baked(NAME, rng, (ends.toned if toned else ends.truth)(), steps)
