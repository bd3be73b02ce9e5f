"""Sampling: a transform into a LUT."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.model.curves.base import Curve
from lutbench.model.transforms import Transform
from lutbench.tables.lut import (
    SIZES_1D,
    SIZES_3D,
    UNIT_DOMAIN,
    Interpolation,
    Lut1D,
    Lut3D,
    ShaperLut3D,
    lattice,
)
from lutbench.tables.nodes import before_shaper, greys


def sample(
    transform: Transform,
    size: int = 33,
    *,
    domain: ArrayLike = UNIT_DOMAIN,
    title: str = "",
    comments: tuple[str, ...] = (),
    interpolation: Interpolation = "tetrahedral",
) -> Lut3D:
    """The transform at the nodes of a lattice of `size` (2 to 256) over `domain`."""
    check_size(size, SIZES_3D)
    bounds = np.broadcast_to(np.asarray(domain, float).reshape(2, -1), (2, 3))
    table = transform.apply(lattice(size, bounds))
    return Lut3D(table, bounds, title, comments, interpolation)


def sample_1d(
    transform: Transform,
    size: int = 1024,
    *,
    domain: ArrayLike = UNIT_DOMAIN,
    title: str = "",
    comments: tuple[str, ...] = (),
) -> Lut1D:
    """The transform on the neutral axis, `size` rows (2 to 65536).

    Raises
    ------
    LutbenchError
        When the channels act on each other, which no 1D LUT can hold.
    """
    check_size(size, SIZES_1D)
    bounds = np.broadcast_to(np.asarray(domain, float).reshape(2, -1), (2, 3))
    probe = lattice(9, bounds)
    alone = np.empty_like(probe)
    axes = np.linspace(bounds[0], bounds[1], 9)
    curve = transform.apply(axes)
    for channel in range(3):
        shape = [1, 1, 1]
        shape[channel] = 9
        alone[..., channel] = curve[:, channel].reshape(shape)
    # What is not finite is told by the table below.
    with np.errstate(invalid="ignore"):
        off = np.abs(transform.apply(probe) - alone).max()
    if off > 1e-9:
        raise LutbenchError(
            "the channels act on each other, which a 1D LUT cannot hold", accepted="a 3D LUT"
        )
    table = transform.apply(np.linspace(bounds[0], bounds[1], size))
    return Lut1D(table, bounds, title, comments)


def sample_with_shaper(
    transform: Transform,
    size: int,
    shaper: Curve,
    *,
    low: float = 0.0,
    high: float = 1.0,
    shaper_size: int = 4096,
    title: str = "",
    comments: tuple[str, ...] = (),
    interpolation: Interpolation = "tetrahedral",
) -> ShaperLut3D:
    """The transform as a 1D shaper and a 3D LUT.

    The shaper is `shaper.encode`, scaled so that `low`..`high` fill 0..1. The two together
    are exact on the nodes.
    """
    check_size(shaper_size, SIZES_1D)
    if not low < high:
        raise LutbenchError(
            f"a shaper from {low:g} to {high:g} has no width", accepted="low under high"
        )
    inputs = np.linspace(low, high, shaper_size)
    ends = shaper.encode(np.array([low, high]))
    shaped = (shaper.encode(inputs) - ends[0]) / (ends[1] - ends[0])
    if not (np.diff(shaped) > 0).all():
        raise NotInvertibleError(
            f"the shaper {shaper.name!r} does not rise from {low:g} to {high:g}"
        )
    one_d = Lut1D(greys(shaped), np.array([[low] * 3, [high] * 3]))
    lut = sample_behind(transform, one_d, size, interpolation=interpolation)
    return ShaperLut3D(lut.shaper, lut.lut, title, comments)


def sample_behind(
    transform: Transform,
    shaper: Lut1D,
    size: int,
    *,
    interpolation: Interpolation = "tetrahedral",
) -> ShaperLut3D:
    """The transform behind a shaper that rises from 0 to 1, the same in all channels.

    The 3D nodes are sampled through the shaper as it is interpolated, so that the
    two together are exact on the nodes.
    """
    check_size(size, SIZES_3D)
    axis = before_shaper(shaper, greys(np.linspace(0, 1, size)))[:, 0]
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    return ShaperLut3D(shaper, Lut3D(transform.apply(grid), interpolation=interpolation))


def check_size(size: int, limits: tuple[int, int]) -> None:
    """Refuse a size that is out of `limits`: `SIZES_3D` or `SIZES_1D`."""
    low, high = limits
    if not low <= size <= high:
        raise LutbenchError(f"a LUT size of {size} is out of limits", accepted=f"{low} to {high}")
