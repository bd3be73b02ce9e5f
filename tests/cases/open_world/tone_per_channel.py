"""A tone curve on each channel of the display's gamut.

Source: the formulas of `tones`, each with its document.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "tone per channel"


def generate(rng: np.random.Generator) -> Case:
    """A log source, a published tone curve, a display."""
    ends = some_ends(rng)
    steps = [*ends.opening(), ends.conversion(), Step("tone", some_tone(rng)), *ends.closing()]
    return baked(NAME, rng, ends.toned(), steps)
