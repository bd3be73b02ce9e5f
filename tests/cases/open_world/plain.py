"""A conversion and nothing else: decode, gamut, encode, clipped.

Source: the curves and primaries of colour-science and of the Recommendations.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, baked
from open_world.ends import exposed, some_ends

NAME = "plain conversion"


def generate(rng: np.random.Generator) -> Case:
    """A log source shown without a tone curve, sometimes some stops brighter or darker."""
    ends = some_ends(rng, legal=0.3)
    stops = float(rng.choice([0, 0, rng.uniform(-2, 2)]))
    steps = [*ends.opening(), exposed(stops), ends.conversion(), *ends.closing()]
    return baked(NAME, rng, ends.truth(exposure=stops), steps)
