"""Corrections of a whole table that was written wrongly; nothing is smoothed or guessed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D


def divided(lut: Lut, top: float) -> Lut:
    """The values divided by the highest code of their scale."""
    return _with_table(lut, lambda table: table / top)


def over_unit_domain(lut: Lut) -> Lut:
    """The same table for inputs from 0 to 1."""
    domain = np.array(UNIT_DOMAIN)
    if isinstance(lut, ShaperLut3D):
        return replace(lut, shaper=replace(lut.shaper, domain=domain))
    return replace(lut, domain=domain)


def rows_turned(lut: Lut) -> Lut:
    """The LUT with its rows read as if blue ran fastest instead of red."""
    return _with_table(lut, lambda table: np.ascontiguousarray(table.transpose(2, 1, 0, 3)))


def channels_put_back(lut: Lut, order: Sequence[int]) -> Lut:
    """The output channels in another order: channel k of the result is channel `order[k]`."""
    return _with_table(lut, lambda table: np.ascontiguousarray(table[..., list(order)]))


def _with_table(lut: Lut, change: Callable[[NDArray[np.float64]], Any]) -> Lut:
    if isinstance(lut, ShaperLut3D):
        inner = lut.lut
        table = change(inner.table.astype(np.float64))
        return replace(lut, lut=replace(inner, table=table))
    assert isinstance(lut, Lut1D | Lut3D)
    return replace(lut, table=change(lut.table.astype(np.float64)))
