"""The inverse direction: a display signal to a log encoding.

Source: the curves and primaries of colour-science, the way round.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, baked
from open_world.ends import Ends, exposed, some_range, some_source
from open_world.spaces import DISPLAY_GAMUTS, SDR_CURVES

NAME = "display to log"


def generate(rng: np.random.Generator) -> Case:
    """SDR, sometimes HLG or PQ, into a camera's or grading log."""
    curve, gamut = some_source(rng)
    shown = str(rng.choice([*SDR_CURVES, "BT.1886", "BT.2100 HLG", "ST 2084"]))
    primaries = str(rng.choice(DISPLAY_GAMUTS)) if shown in SDR_CURVES else "BT.2020"
    ends = Ends(shown, primaries, curve, gamut, some_range(rng), some_range(rng))
    stops = float(rng.choice([0, 0, rng.uniform(-1, 1)]))
    steps = [*ends.opening(), exposed(stops), ends.conversion(), *ends.closing()]
    return baked(NAME, rng, ends.truth(exposure=stops), steps)
