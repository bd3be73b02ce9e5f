"""Offsets on the log signal: printer lights.

Source: common practice of timing: 12 points are a stop, a point is 0.025 of log
exposure; on a log signal an offset by channel.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.spaces import encoder
from open_world.tones import some_tone

NAME = "offsets in log (printer lights)"


def generate(rng: np.random.Generator) -> Case:
    """Up to six points a channel, as the source's own signal counts them around grey."""
    ends = some_ends(rng)
    encode = encoder(ends.source_curve)
    a_stop = float(encode(np.array(0.36)) - encode(np.array(0.18)))
    offset = rng.uniform(-6, 6, 3) / 12 * a_stop
    opening = ends.opening()
    lights = Step("printer lights", lambda rgb: rgb + offset)
    steps = [
        *opening[:-1],
        lights,
        opening[-1],
        ends.conversion(),
        Step("tone", some_tone(rng)),
        *ends.closing(),
    ]
    return baked(NAME, rng, ends.toned(look=True), steps)
