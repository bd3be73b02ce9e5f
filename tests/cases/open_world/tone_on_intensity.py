"""A tone curve on I of ICtCp, with Ct and Cp kept or scaled.

Source: Recommendation ITU-R BT.2100-2, table 7 (by colour-science); Report ITU-R
BT.2390, 5.4.2 for the curve on I and the scaling of Ct and Cp.
"""

from __future__ import annotations

import colour
import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import exposed, some_ends
from open_world.spaces import REFERENCE_WHITE, gamut_matrix, primaries_of
from open_world.tones import some_tone

NAME = "tone on I of ICtCp"


def generate(rng: np.random.Generator) -> Case:
    """Scene light as cd/m² into ICtCp, the tone curve on I's luminance, back."""
    ends = some_ends(rng)
    tone = some_tone(rng)
    scaled = rng.random() < 0.5
    wide = primaries_of("BT.2020")
    there = gamut_matrix(primaries_of(ends.source_gamut), wide)
    back = gamut_matrix(wide, primaries_of(ends.target_gamut))

    def apply(rgb: Array) -> Array:
        light = np.clip(rgb @ there.T, 0, 10000 / REFERENCE_WHITE)
        ictcp = np.asarray(colour.RGB_to_ICtCp(light * REFERENCE_WHITE))
        before = ictcp[..., :1]
        luminance = colour.models.eotf_ST2084(np.clip(before, 0, 1)) / REFERENCE_WHITE
        after = colour.models.eotf_inverse_ST2084(tone(luminance) * REFERENCE_WHITE)
        low, high = np.minimum(before, after), np.maximum(np.maximum(before, after), 1e-6)
        chroma = ictcp[..., 1:] * (low / high if scaled else 1.0)
        out = np.asarray(colour.ICtCp_to_RGB(np.concatenate([after, chroma], axis=-1)))
        return (out / REFERENCE_WHITE) @ back.T

    steps = [*ends.opening(), exposed(0.0), Step("tone", apply), *ends.closing()]
    return baked(NAME, rng, ends.toned(look=None), steps)
