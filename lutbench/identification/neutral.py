"""The neutral axis compared with every pair of curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import DARK
from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.samples import CODES, Samples
from lutbench.model.transforms import Array

FEWEST = 4
"""The fewest samples in each channel, on average, for an error."""


@dataclass(frozen=True)
class NeutralMatch:
    """How each source (first axis) and target (second) explain the neutral axis.

    `error` is the root mean square in codes, `stops` the exposure of each
    channel; infinite where too few samples are clear of clipping.
    """

    error: Array
    stops: Array


def match_neutral(
    samples: Samples, sources: list[End], targets: list[End], *, exact: bool = True
) -> NeutralMatch:
    """Every pair of curves on the neutral axis, each with its best exposure in each channel.

    With out = T(k·L), log T⁻¹(out) - log L is the constant log k; the spread
    about it, weighed with d out / d log light, is the error in codes. Unless `exact`,
    targets are read from tables, which is quicker and accurate to some hundredths of a code.
    """
    clear = samples.inside(samples.neutral)
    light = np.array([end.of_axis(samples.neutral_in) for end in sources])
    seen = np.isfinite(light) & (light > DARK)
    b = np.log(np.where(seen, light, 1.0))
    log_light, weight = _targets(samples, targets, clear, exact)
    error = np.zeros((len(sources), len(targets)))
    count = np.zeros_like(error)
    stops = np.empty((*error.shape, 3))
    for c in range(3):
        w2, a = weight[:, :, c] ** 2, log_light[:, :, c]
        total = seen @ w2.T
        total = np.where(total > 0, total, np.nan)
        mean = (seen @ (w2 * a).T - (seen * b) @ w2.T) / total
        square = seen @ (w2 * a * a).T - 2 * (seen * b) @ (w2 * a).T + (seen * b * b) @ w2.T
        error += np.maximum(np.nan_to_num(square - mean**2 * total, nan=0.0), 0)
        count += seen.astype(float) @ (w2 > 0).astype(float).T
        stops[:, :, c] = mean / np.log(2)
    rms = np.sqrt(error / np.maximum(count, 1)) * CODES
    # A channel that never changes has no exposure: it takes the mean of the others.
    known = np.isfinite(stops)
    mean = np.where(known, stops, 0.0).sum(axis=2) / np.maximum(known.sum(axis=2), 1)
    stops = np.where(known, stops, mean[..., None])
    return NeutralMatch(np.where(count >= 3 * FEWEST, rms, np.inf), stops)


def _targets(
    samples: Samples, targets: list[End], clear: NDArray[np.bool_], exact: bool
) -> tuple[Array, Array]:
    """Log light of the neutral axis through each target, and d out / d log light there."""
    tables = LightTables.of(targets)
    light, rise = tables.of_own(tables.shared(samples.neutral))
    if exact:
        light = np.array([end.decode(samples.neutral) for end in targets])
    with np.errstate(all="ignore"):
        weight = light / rise
    fits = clear & np.isfinite(light) & (light > DARK) & np.isfinite(weight) & (weight > 0)
    return np.log(np.where(fits, light, 1.0)), np.where(fits, weight, 0.0)
