"""False colour: bands of flat colours over a log signal or a luma.

Source: common practice of exposure aids, with colours at random.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import some_source
from open_world.smooth_map import NAMELESS
from open_world.spaces import luminance_weights, published_decoder

NAME = "no conversion: false colour"


def generate(rng: np.random.Generator) -> Case:
    """Bands by luma, or by stops of a log encoding; the rest grey or flat."""
    edges = np.sort(rng.uniform(0.05, 0.95, int(rng.integers(4, 9))))
    colours = rng.random((len(edges) + 1, 3))
    grey = rng.random(len(edges) + 1) < 0.4
    curve, gamut = some_source(rng)
    weights = luminance_weights(gamut) if rng.random() < 0.5 else np.full(3, 1 / 3)
    decode = published_decoder(curve)
    by_light = rng.random() < 0.5

    def bands(rgb: Array) -> Array:
        level = rgb @ weights
        if by_light:
            light = np.maximum(decode(rgb) @ weights, 1e-6)
            level = np.clip((np.log2(light / 0.18) + 8) / 14, 0, 1)
        band = np.searchsorted(edges, level)
        return np.where(grey[band][..., None], level[..., None], colours[band])

    clip = Step("clip", lambda rgb: np.clip(rgb, 0, 1))
    return baked(NAME, rng, NAMELESS, [Step("bands", bands), clip])
