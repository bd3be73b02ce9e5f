"""Pairs of curves that may have a tone curve between them, which a curve alone cannot separate.

Without a gamut conversion, a LUT is one curve, and any pair of source and target gives it with
some curve between them. That counts as a tone curve where it has the shape of one: the
characteristic curve of photography (Hurter and Driffield, 1890) has a slope in log light that
rises through a toe and falls through a shoulder.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import DARK
from lutbench.identification.curvebank import End
from lutbench.identification.target import Through
from lutbench.model.transforms import Array

POINTS = 25
"""Points of a curve that are used; a longer curve is thinned to as many."""

SEEN = 0.8
"""The share of the signal's rise that must have light on both sides."""

STEEPEST = 3.0
"""The highest greatest slope of a tone curve: a hard print has 3, a negative and its print 1.8."""

FLATTEST = 0.5
"""The lowest greatest slope of a tone curve."""

SPAN = 6
"""Steps of the curve that its slope is taken over."""


@cache
def _triples(count: int) -> tuple[NDArray[np.int64], ...]:
    """Places i < j < k, as three arrays."""
    i, j, k = np.meshgrid(*(np.arange(count),) * 3, indexing="ij")
    keep = (i < j) & (j < k)
    return i[keep], j[keep], k[keep]


def tone_errors(
    places: Array, signal: Array, sources: Sequence[End], targets: Sequence[End]
) -> Array:
    """How far, in codes, the curve between each source and target is from a tone curve.

    Shape (sources, targets), of a curve given as full-scale inputs and outputs, shapes
    (n,), rising. It is the smallest maximum change of the outputs that makes the slope in
    log light rise and then fall. Infinite where the curve is too flat or too steep for
    a tone curve, or where too little of it has light on both sides. Gains of light, as
    of an exposure, change nothing.
    """
    if len(places) > POINTS:
        some = np.unique(np.linspace(0, len(places) - 1, POINTS).round().astype(int))
        places, signal = places[some], signal[some]
    light = np.array([source.decode(places) for source in sources])
    with np.errstate(all="ignore"):
        lit = np.isfinite(light) & (light > DARK)
    x = np.log(np.where(lit, light, 1.0))
    through = Through.of(signal[:, None], targets)
    climbs = np.abs(np.diff(signal))
    errors = np.full((len(sources), len(targets)), np.inf)
    for t in range(len(targets)):
        y, weight = through.log_light[t, :, 0], through.weight[t, :, 0]
        fine = lit & (weight > 0)
        seen = (climbs * (fine[:, 1:] & fine[:, :-1])).sum(axis=1) / climbs.sum()
        fine &= (seen >= SEEN)[:, None]
        errors[:, t] = _errors(x, y, weight, fine)
        errors[seen < SEEN, t] = np.inf
    return errors


def _errors(x: Array, y: Array, weight: Array, fine: NDArray[np.bool_]) -> Array:
    """The same for one target, with x and `fine` of shape (s, n), y and `weight` of shape (n,)."""
    i, j, k = _triples(len(y))
    whole = fine[:, i] & fine[:, j] & fine[:, k]
    with np.errstate(all="ignore"):
        part = (x[:, j] - x[:, i]) / (x[:, k] - x[:, i])
        over = y[j] - y[i] - part * (y[k] - y[i])
        slack = 1 / weight
        over /= slack[j] + (1 - part) * slack[i] + part * slack[k]
    over = np.where(whole & np.isfinite(over), over, 0.0)
    count = len(y)
    toe, shoulder = np.zeros((2, len(x), count + 1))
    # A toe that ends at a place holds the triples up to it, a shoulder those from it on.
    for p in range(count):
        ends, begins = k == p, i == p
        toe[:, p + 1] = over[:, ends].max(axis=1, initial=0.0)
        shoulder[:, p] = -over[:, begins].min(axis=1, initial=0.0)
    toe = np.maximum.accumulate(toe, axis=1)[:, 1:]
    shoulder = np.maximum.accumulate(shoulder[:, ::-1], axis=1)[:, ::-1][:, :-1]
    error = np.maximum(toe, shoulder).min(axis=1)
    both = fine[:, SPAN:] & fine[:, :-SPAN]
    with np.errstate(all="ignore"):
        slopes = (y[SPAN:] - y[:-SPAN]) / (x[:, SPAN:] - x[:, :-SPAN])
    steepest = np.where(both, slopes, 0.0).max(axis=1, initial=0.0)
    return np.where((steepest >= FLATTEST) & (steepest <= STEEPEST), error, np.inf)
