"""A monochrome view.

Source: luminance by SMPTE RP 177 from the gamut's primaries, or the luma of BT.709.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.spaces import luminance_weights
from open_world.tones import some_tone

NAME = "monochrome"
ONE_CHANNEL = "all channels are alike: the gamut that comes out does not show"


def generate(rng: np.random.Generator) -> Case:
    """In light, or on the display signal."""
    ends = some_ends(rng)
    in_light = rng.random() < 0.5
    weights = luminance_weights(ends.target_gamut) if in_light else luminance_weights("BT.709")
    grey = Step("look", lambda rgb: np.repeat((rgb @ weights)[..., None], 3, axis=-1))
    tone = Step("tone", some_tone(rng))
    steps = [
        *ends.opening(),
        ends.conversion(),
        *([grey, tone] if in_light else [tone]),
        *ends.closing([] if in_light else [grey]),
    ]
    truth = ends.toned(look=None, kind=None).without(ONE_CHANNEL, "target_gamut")
    return baked(NAME, rng, truth, steps)
