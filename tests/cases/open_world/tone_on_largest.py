"""A tone curve on the largest channel: light times the ratio after and before.

Source: Report ITU-R BT.2390, 5.4.1 names the largest channel as one of the places
where its curve can act.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.tone_on_luminance import by_ratio
from open_world.tones import some_tone

NAME = "tone on the largest channel"


def generate(rng: np.random.Generator) -> Case:
    """The largest channel in the target's gamut, or a soft maximum (a norm)."""
    ends = some_ends(rng)
    power = float(rng.choice([np.inf, np.inf, 4, 6]))
    share = 1.0 if np.isinf(power) else 3 ** (-1 / power)

    def norm(rgb: np.ndarray) -> np.ndarray:
        return np.linalg.norm(np.maximum(rgb, 0), power, axis=-1) * share

    tone = by_ratio(some_tone(rng), norm)
    steps = [*ends.opening(), ends.conversion(), Step("tone", tone), *ends.closing()]
    return baked(NAME, rng, ends.toned(look=None), steps)
