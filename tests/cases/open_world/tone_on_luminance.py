"""A tone curve on luminance: light times the ratio of luminance after and before.

Source: "Photographic tone reproduction for digital images", 2002, whose operator acts
on luminance; the ratio is common practice.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Function, Step, baked
from open_world.ends import some_ends
from open_world.spaces import luminance_weights
from open_world.tones import some_tone

NAME = "tone on luminance"


def by_ratio(tone: Function, norm: Function) -> Function:
    """Light times tone(norm) / norm."""

    def apply(rgb: Array) -> Array:
        size = np.maximum(norm(rgb), 1e-6)[..., None]
        return rgb * tone(size) / size

    return apply


def generate(rng: np.random.Generator) -> Case:
    """The luminance of the target's gamut."""
    ends = some_ends(rng)
    weights = luminance_weights(ends.target_gamut)
    tone = by_ratio(some_tone(rng), lambda rgb: rgb @ weights)
    steps = [*ends.opening(), ends.conversion(), Step("tone", tone), *ends.closing()]
    return baked(NAME, rng, ends.toned(look=None), steps)
