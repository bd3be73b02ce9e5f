"""One log encoding to another, with its gamut.

Source: the registries of colour-science.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, baked
from open_world.ends import Ends, some_range, some_source

NAME = "log to log"


def generate(rng: np.random.Generator) -> Case:
    """Two different ones."""
    source = some_source(rng)
    target = some_source(rng)
    while target[0] == source[0] or target[1] == source[1]:
        target = some_source(rng, together=0.3)
    ends = Ends(*source, *target, some_range(rng, 0.1), some_range(rng, 0.1))
    steps = [*ends.opening(), ends.conversion(), *ends.closing()]
    return baked(NAME, rng, ends.truth(exposure=0.0), steps)
