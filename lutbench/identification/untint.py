"""Removal of a tint that depends on luma (cool shadows, warm highlights) from a LUT.

The tint of the neutral axis at each luma is subtracted from every node of that luma.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lutbench.identification.common import DENSE
from lutbench.identification.curvebank import scale_of
from lutbench.identification.lightsteps import LumaTint
from lutbench.identification.samples import CODES, Samples, range_seen
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.model.interpolation import Pchip, interp_uniform
from lutbench.model.transforms import Array

TINTED = 0.8
"""10-bit codes, root mean square, below which a neutral axis is not tinted."""

BLURRED = 2 / CODES
"""Full-scale value by which removal of a tint may blur a plateau."""

RISE = 1e-9
"""Signal by which luma must rise from one neutral node to the next, for a curve through them."""

FEWEST = 5
"""Greys that show a tint."""

OUT = -9.0
"""The value that marks a node as left out because it was clipped."""


def tint_of(samples: Samples) -> LumaTint | None:
    """The tint of greys by luma, on the signal; None without one."""
    neutral = _tinted(samples)
    if neutral is None:
        return None
    low, span = scale_of(range_seen(samples) or "full")
    signal = (neutral - low) / span
    luma = signal @ np.array(CDL_WEIGHTS)
    rising = np.concatenate([[True], luma[1:] > np.maximum.accumulate(luma)[:-1] + RISE])
    if rising.sum() < FEWEST:
        return None
    points = np.column_stack([luma, signal - luma[:, None]])[rising]
    return LumaTint(tuple(map(tuple, points.tolist())))


def _tinted(samples: Samples) -> Array | None:
    """The greys that are clear of clipping; None where they have no tint."""
    neutral = samples.neutral[samples.inside(samples.neutral).all(axis=1)]
    if samples.one_d or len(neutral) < FEWEST:
        return None
    apart = neutral - neutral.mean(axis=1, keepdims=True)
    return neutral if np.sqrt(np.mean(apart**2)) * CODES >= TINTED else None


def untinted_forms(samples: Samples) -> list[Samples]:
    """The LUT without its tint: with the channels' mean kept, or green, or luma; [] without one."""
    neutral = _tinted(samples)
    if neutral is None:
        return []
    weights = np.array(CDL_WEIGHTS)
    kept = (neutral.mean(axis=1), neutral[:, 1], neutral @ weights)
    order = np.argsort(neutral @ weights)
    luma = (neutral @ weights)[order]
    if not (np.diff(luma) > RISE).any():  # one colour only
        return []
    return [_without(samples, luma, (neutral - grey[:, None])[order]) for grey in kept]


def _without(samples: Samples, luma: Array, tint: Array) -> Samples:
    weights = np.array(CDL_WEIGHTS)
    # A smooth curve through the neutral nodes, as a table.
    dense = np.linspace(luma[0], luma[-1], DENSE)
    rising = np.concatenate([[True], np.diff(luma) > RISE])
    curves = Pchip(luma[rising], tint[rising])(dense).T

    def cleaned(values: Array) -> Array:
        at = values @ weights
        shift = np.stack([interp_uniform(at, luma[0], luma[-1], each) for each in curves], axis=-1)
        # Beyond the clear neutrals the tint is unknown.
        known = (at >= luma[0]) & (at <= luma[-1])
        fine = (samples.inside(values).all(axis=-1) & known)[..., None]
        return np.where(fine, values - shift, OUT)

    # What was clipped before the tint now shows as a plateau again.
    table = cleaned(samples.table)
    flat = table.reshape(-1, 3)
    fine = flat[flat[:, 0] > OUT / 2]
    return replace(
        samples,
        table=table,
        neutral=cleaned(samples.neutral),
        low=fine.min(axis=0),
        high=fine.max(axis=0),
        margin=max(samples.margin, BLURRED),
    )
