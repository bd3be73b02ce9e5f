"""The gamut alone: decode, matrix, encode with the same curve.

Source: the registries of colour-science.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from open_world.case import Case, baked
from open_world.ends import WIDE, Ends, some_range, some_source
from open_world.spaces import DISPLAY_GAMUTS, gamut_names

NAME = "gamut only"


def generate(rng: np.random.Generator) -> Case:
    """To a display's gamut, or to another camera's."""
    curve, gamut = some_source(rng)
    to = str(rng.choice(DISPLAY_GAMUTS if rng.random() < 0.7 else gamut_names(WIDE)))
    while to == gamut:
        to = str(rng.choice(DISPLAY_GAMUTS))
    legal = some_range(rng, 0.15)
    ends = Ends(curve, gamut, curve, to, legal, legal)
    steps = [*ends.opening(), ends.conversion(), *ends.closing()]
    truth = replace(ends.truth(), kind="gamut", target_curve=None)
    return baked(NAME, rng, truth, steps)
