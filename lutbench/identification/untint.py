"""A tint that depends on luma (cool shadows, warm highlights), as greys show it."""

from __future__ import annotations

import numpy as np

from lutbench.identification.curvebank import scale_of
from lutbench.identification.lightsteps import LumaTint
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.transforms import Array

TINTED = 0.8
"""10-bit codes, root mean square, below which a neutral axis is not tinted."""

RISE = 1e-9
"""Signal by which luma must rise from one neutral node to the next, for a curve through them."""

FEWEST = 5
"""Greys that show a tint."""

KEPT = (CDL_WEIGHTS, (1 / 3, 1 / 3, 1 / 3), (0.0, 1.0, 0.0))
"""What of a grey a tint may leave as it was: its luma, its mean, or its green."""


def tints_of(samples: Samples) -> list[LumaTint]:
    """The tints of greys by luma, on the signal: one for each value that a tint may keep."""
    neutral = _tinted(samples)
    if neutral is None:
        return []
    low, span = scale_of(range_seen(samples) or "full")
    signal = (neutral - low) / span
    luma = signal @ np.array(CDL_WEIGHTS)
    rising = np.concatenate([[True], luma[1:] > np.maximum.accumulate(luma)[:-1] + RISE])
    if rising.sum() < FEWEST:
        return []
    found = []
    for weights in KEPT:
        kept = signal @ np.array(weights)
        points = np.column_stack([luma, signal - kept[:, None]])[rising]
        found.append(LumaTint(tuple(map(tuple, points.tolist()))))
    return found


def _tinted(samples: Samples) -> Array | None:
    """The greys that are clear of clipping; None where they have no tint."""
    neutral = samples.neutral[samples.inside(samples.neutral).all(axis=1)]
    if samples.one_d or len(neutral) < FEWEST:
        return None
    apart = neutral - neutral.mean(axis=1, keepdims=True)
    return neutral if np.sqrt(np.mean(apart**2)) * CODES >= TINTED else None
