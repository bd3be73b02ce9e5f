"""Corrections of a whole table that was written wrongly; nothing is smoothed or guessed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.lut import UNIT_DOMAIN, Lut, ShaperLut3D


def divided(lut: Lut, top: float) -> Lut:
    """The values divided by the highest code of their scale."""
    return with_table(lut, lambda table: table.astype(np.float64) / top)


def over_unit_domain(lut: Lut) -> Lut:
    """The same table for inputs from 0 to 1."""
    domain = np.array(UNIT_DOMAIN)
    if isinstance(lut, ShaperLut3D):
        return replace(lut, shaper=replace(lut.shaper, domain=domain))
    return replace(lut, domain=domain)


def axes_reversed(lut: Lut) -> Lut:
    """The LUT with its rows read as if blue ran fastest instead of red."""
    return with_table(lut, lambda table: table.transpose(2, 1, 0, 3).astype(np.float64, "C"))


def channels_reordered(lut: Lut, order: Sequence[int]) -> Lut:
    """The output channels in another order: channel k of the result is channel `order[k]`."""
    return with_table(lut, lambda table: table[..., list(order)].astype(np.float64, "C"))


def with_table(lut: Lut, change: Callable[[NDArray[Any]], Any]) -> Lut:
    """The LUT with its table changed: behind a shaper, that of the lattice."""
    if isinstance(lut, ShaperLut3D):
        return replace(lut, lut=replace(lut.lut, table=change(lut.lut.table)))
    return replace(lut, table=change(lut.table))
