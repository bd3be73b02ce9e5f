"""Log encodings of a camera that does not exist: a log with a linear toe, at random.

Source: the parametric form that the Common LUT Format (Academy S-2014-006) gives for
camera logs: slope and offset on both sides of the logarithm, and a linear part.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from open_world.case import Array, Case, Function, Step, baked
from open_world.ends import some_ends
from open_world.spaces import D65, gamut_matrix, primaries_of
from open_world.tones import some_tone
from open_world.unregistered_gamut import primaries

NAME = "unregistered camera (parametric log)"


def parametric(rng: np.random.Generator) -> tuple[Function, Function]:
    """Decode and encode of a log with a linear toe: grey at 33 to 48 %, 5 to 10 stops over it."""
    while True:
        black, grey = rng.uniform(0.04, 0.13), rng.uniform(0.33, 0.48)
        stops, lin_offset = rng.uniform(5.5, 9.5), rng.uniform(0.002, 0.02)
        log_slope = (1 - grey) / (
            np.log10(0.18 * 2**stops + lin_offset) - np.log10(0.18 + lin_offset)
        )
        log_offset = grey - log_slope * np.log10(0.18 + lin_offset)
        cut = rng.uniform(0.002, 0.015)
        slope = log_slope / ((cut + lin_offset) * np.log(10))
        at_cut = log_slope * np.log10(cut + lin_offset) + log_offset
        at_zero = at_cut - slope * cut
        if abs(at_zero - black) < 0.05 and at_zero > 0.02:
            break

    def decode(v: Array) -> Array:
        curved = 10 ** ((v - log_offset) / log_slope) - lin_offset
        return np.where(v >= at_cut, curved, (v - at_zero) / slope)

    def encode(x: Array) -> Array:
        curved = log_slope * np.log10(np.maximum(x, cut) + lin_offset) + log_offset
        return np.where(x >= cut, curved, at_zero + slope * x)

    return decode, encode


def generate(rng: np.random.Generator) -> Case:
    """With primaries of its own or registered ones: gamut only, clipped, or toned."""
    decode, encode = parametric(rng)
    ends = some_ends(rng)
    own = rng.random() < 0.6
    source = (primaries(rng), np.array(D65)) if own else primaries_of(ends.source_gamut)
    array = gamut_matrix(source, primaries_of(ends.target_gamut))
    way = int(rng.integers(3))
    opening = [*ends.opening()[:-1], Step("hidden curve", decode)]
    middle = [Step("hidden gamut" if own else "gamut", lambda rgb: rgb @ array.T)]
    closing = ends.closing()
    if way == 0:
        opening, clip = opening[-1:], Step("clip", lambda rgb: np.clip(rgb, 0, 1))
        closing = [Step("hidden curve", encode), clip]
        truth = replace(ends.truth(), kind="gamut", target_curve=None)
        truth = replace(truth, source_range="full", target_range="full")
    else:
        truth = ends.truth() if way == 1 else ends.toned()
    tone = [Step("tone", some_tone(rng))] if way == 2 else []
    gone = {"source_curve", "source_gamut"} if own else {"source_curve"}
    truth = replace(
        truth,
        source_curve=None,
        source_gamut=None if own else truth.source_gamut,
        unnamed=frozenset(gone),
    )
    hidden = np.vstack([source[0], source[1]]) if own else None
    steps = [*opening, *middle, *tone, *closing]
    return baked(NAME, rng, truth, steps, hidden_curve=decode, hidden_gamut=hidden)
