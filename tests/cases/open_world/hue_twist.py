"""Hues turned, by how much depending on the hue.

Source: Oklab, 2020 (by colour-science): the hue angle gets a smooth periodic offset.
"""

from __future__ import annotations

import colour
import numpy as np

from open_world.case import Array, Case, Function, Step, baked
from open_world.ends import Ends, some_ends
from open_world.spaces import D65, gamut_matrix, primaries_of, to_xyz
from open_world.tones import some_tone

NAME = "hue twist"


def in_oklab(ends: Ends, change: Function) -> Function:
    """A change of Oklab made on linear light of the target's gamut."""
    to_709 = gamut_matrix(primaries_of(ends.target_gamut), primaries_of("BT.709"))
    xyz = to_xyz(primaries_of("BT.709")[0], np.array(D65))
    there, back = xyz @ to_709, np.linalg.inv(xyz @ to_709)

    def apply(rgb: Array) -> Array:
        lab = np.asarray(colour.XYZ_to_Oklab(rgb @ there.T))
        return np.asarray(colour.Oklab_to_XYZ(change(lab))) @ back.T

    return apply


def generate(rng: np.random.Generator) -> Case:
    """The first two harmonics of the hue circle, up to some 12 degrees."""
    ends = some_ends(rng)
    size = np.deg2rad(rng.uniform(3, 9, 2))
    phase = rng.uniform(0, 2 * np.pi, 2)

    def turn(lab: Array) -> Array:
        hue = np.arctan2(lab[..., 2], lab[..., 1])
        chroma = np.hypot(lab[..., 1], lab[..., 2])
        hue = hue + size[0] * np.sin(hue + phase[0]) + size[1] * np.sin(2 * hue + phase[1])
        return np.stack([lab[..., 0], chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)

    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("tone", some_tone(rng)),
        Step("look", in_oklab(ends, turn)),
        *ends.closing(),
    ]
    return baked(NAME, rng, ends.toned(look=True), steps)
