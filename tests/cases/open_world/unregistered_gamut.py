"""Primaries that nobody registered: at random within the spectral locus.

Source: CIE 15:2018's spectral locus by colour-science.
"""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import Ends, some_ends
from open_world.spaces import D65, area, gamut_matrix, primaries_of
from open_world.tones import some_tone

NAME = "unregistered primaries"


def primaries(rng: np.random.Generator) -> Array:
    """Three points between white and the locus, near the ends of usual wide gamuts."""
    white = np.array(D65)
    while True:
        waves = [rng.uniform(605, 650), rng.uniform(515, 540), rng.uniform(440, 468)]
        cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        xyz = np.array([colour.wavelength_to_XYZ(wave, cmfs) for wave in waves])
        locus = xyz[:, :2] / xyz.sum(axis=1, keepdims=True)
        points = white + rng.uniform(0.75, 0.98, (3, 1)) * (locus - white)
        if area(points) > 0.13:
            return points


def generate(rng: np.random.Generator) -> Case:
    """A registered curve with these primaries: gamut only, clipped, or toned."""
    own = (primaries(rng), np.array(D65))
    ends = some_ends(rng)
    way = int(rng.integers(3))
    if way == 0:
        ends = Ends(ends.source_curve, ends.source_gamut, ends.source_curve, ends.target_gamut)
    array = gamut_matrix(own, primaries_of(ends.target_gamut))
    tone = [Step("tone", some_tone(rng))] if way == 2 else []
    middle = [Step("hidden gamut", lambda rgb: rgb @ array.T), *tone]
    truth = ends.toned() if way == 2 else ends.truth()
    truth = replace(truth, source_gamut=None, unnamed=frozenset({"source_gamut"}))
    if way == 0:
        truth = replace(truth, kind="gamut", target_curve=None)
    steps = [*ends.opening(), *middle, *ends.closing()]
    return baked(NAME, rng, truth, steps, hidden_gamut=np.vstack([own[0], own[1]]))
