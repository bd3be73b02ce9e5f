"""Combine any number of LUTs and transforms into one LUT."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from lutbench.algebra.result import Change, Reworked, difference, probe
from lutbench.errors import LutbenchError
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Pipeline, Transform, steps_of
from lutbench.tables.lut import (
    SIZES_1D,
    USUAL_ROWS,
    USUAL_SIZE,
    Interpolation,
    Lut,
    Lut1D,
    Lut3D,
    ShaperLut3D,
)
from lutbench.tables.nodes import domain_of, sample


def chain(
    transforms: Sequence[Transform],
    size: int | None = None,
    *,
    shaper: bool = True,
    interpolation: Interpolation = "tetrahedral",
    title: str = "",
) -> Reworked:
    """One LUT that does what `transforms` do one after the other.

    If all are curves, the result is a `Lut1D`. If the first is a curve LUT, it becomes the
    shaper of the result, which keeps its precision; with `shaper` False the whole chain is
    sampled on one lattice. The domain is that of the first step. The error is the
    difference from the exact chain.

    Parameters
    ----------
    size
        Nodes along an edge, or rows. Default: the largest 3D size in the chain (33 without
        any); for curves four times the largest, and at least 4096.

    Raises
    ------
    LutbenchError
        When nothing to chain was given.
    """
    steps = [step for each in transforms for step in steps_of(each)]
    if not steps:
        raise LutbenchError("nothing to chain was given", accepted="one LUT or more")
    whole = Pipeline(tuple(steps))
    domain = domain_of(steps[0])
    if is_curve(whole, domain):
        lut: Lut = _as_curve(whole, steps, size, domain, title)
    else:
        lut = _as_lattice(steps, size, shaper, interpolation, title)
    error = difference(whole, lut, domain)
    changes = [
        Change(
            "chained",
            f"{len(steps)} steps combined into one LUT, which differs from them by"
            f" {error.mean:.2f} 10-bit codes on average, {error.max:.1f} at most",
            error.mean,
        )
    ]
    for before, after in pairwise(steps):
        left = _clamped_between(before, after)
        if left > 0.5 / CODES_10_BIT:
            changes.append(
                Change(
                    "clamped_between",
                    f"{before!r} gives values up to {left:.3f} outside the domain of {after!r},"
                    " which are clamped there",
                    left,
                )
            )
    return Reworked(lut, error, tuple(changes))


def is_curve(transform: Transform, domain: Array) -> bool:
    """Whether each channel of the result depends on its own channel only."""
    points = probe(domain, 500)
    expected = transform.apply(points)
    moved = np.random.default_rng(1).permutation(points)
    for channel in range(3):
        mixed = moved.copy()
        mixed[:, channel] = points[:, channel]
        # Values that are not finite fail the comparison, so it is no curve.
        with np.errstate(invalid="ignore"):
            off = np.abs(transform.apply(mixed)[:, channel] - expected[:, channel]).max()
        if not off <= 1e-9:
            return False
    return True


def _as_curve(
    whole: Transform, steps: Sequence[Transform], size: int | None, domain: Array, title: str
) -> Lut1D:
    if size is None:
        sizes = [step.size for step in steps if isinstance(step, Lut1D)]
        if len(steps) == 1 and sizes:
            size = sizes[0]
        else:
            size = min(max(USUAL_ROWS, 4 * max(sizes, default=0)), SIZES_1D[1])
    inputs = np.linspace(domain[0], domain[1], size)
    return Lut1D(whole.apply(inputs), domain, title)


def _as_lattice(
    steps: Sequence[Transform],
    size: int | None,
    shaper: bool,
    interpolation: Interpolation,
    title: str,
) -> Lut3D | ShaperLut3D:
    if size is None:
        sizes = [step.size for step in steps if isinstance(step, Lut3D | ShaperLut3D)]
        size = max(sizes, default=USUAL_SIZE)
    first, *rest = steps
    curve = first if isinstance(first, Lut1D) else None
    if isinstance(first, ShaperLut3D):
        curve, rest = first.shaper, [first.lut, *rest]
    if shaper and curve is not None:
        low, high = curve.table.min(axis=0), curve.table.max(axis=0)
        if (high - low > 1e-6).all():
            # The lattice covers exactly the outputs of the curve, scaled to 0..1.
            scaled = Lut1D((curve.table - low) / (high - low), curve.domain, curve.title)
            inner = np.stack([low, high]).astype(np.float64)
            after = sample(
                Pipeline(tuple(rest)), size, domain=inner, interpolation=interpolation, title=title
            )
            return ShaperLut3D(scaled, Lut3D(after.table, interpolation=interpolation), title)
    domain = domain_of(steps[0])
    whole = Pipeline(tuple(steps))
    return sample(whole, size, domain=domain, interpolation=interpolation, title=title)


def _clamped_between(before: Transform, after: Transform) -> float:
    """How far the values of one table leave the domain of the next."""
    if not (isinstance(before, Lut) and isinstance(after, Lut)):
        return 0.0
    values = before.table.reshape(-1, 3)
    low, high = after.domain
    return float(max((low - values.min(axis=0)).max(), (values.max(axis=0) - high).max(), 0.0))
