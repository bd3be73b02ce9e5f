"""Tables as text for a page: base64 of 16-bit steps if these are fine enough, otherwise float32."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.model.signal import CODES_10_BIT
from lutbench.results import PlainData
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import LARGEST_PIXEL, checked_outputs

FINE_ENOUGH_CODES = 0.01
"""Largest error of 16-bit steps, in 10-bit codes: a hundredth of a recorded step."""

STEPS = 65535
"""Steps from the lowest to the highest value of a table: 16 bits, half the size of floats."""


@dataclass(frozen=True)
class Packed(PlainData):
    """Numbers as text, and their largest error: half a step, or the rounding of float32."""

    KEYS = ("packing", "low", "high", "data")

    packing: str
    low: float
    high: float
    data: str
    error: float


def packed(values: ArrayLike) -> Packed:
    """`values` in 16-bit steps between their ends, or in float32 if a step would be too coarse.

    >>> packed([0.0, 0.5, 1.0]).packing, packed([0.0, 65000.0]).packing
    ('u16', 'f32')
    """
    array = np.asarray(values, dtype=np.float64)
    low, high = float(array.min()), float(array.max())
    half_step = (high - low) / STEPS / 2
    if half_step * CODES_10_BIT > FINE_ENOUGH_CODES:
        return packed_floats(array)
    steps = np.zeros_like(array) if high == low else np.round((array - low) / (high - low) * STEPS)
    return Packed("u16", low, high, _text(steps.astype("<u2")), half_step)


def packed_floats(values: ArrayLike) -> Packed:
    """`values` as float32, whatever their range; LutbenchError if one is too large."""
    array = checked_outputs(np.asarray(values, dtype=np.float64), LARGEST_PIXEL)
    single = array.astype("<f4")
    error = float(np.abs(array - single).max())
    return Packed("f32", float(array.min()), float(array.max()), _text(single), error)


def _text(array: NDArray[Any]) -> str:
    return b64encode(array.tobytes()).decode("ascii")


@dataclass(frozen=True)
class PackedLut:
    """The curve and the lattice of a LUT, either of which may be missing; the error in codes."""

    curve: dict[str, Any] | None
    lattice: dict[str, Any] | None
    error: float


def packed_lut(lut: Lut1D | Lut3D | ShaperLut3D) -> PackedLut:
    """A LUT for the page; the error is that of its output, in 10-bit codes."""
    if isinstance(lut, ShaperLut3D):
        # The lattice would amplify an error of the shaper, so the shaper stays float32.
        curve = _table(lut.shaper, packed_floats(lut.shaper.table))
        nodes = packed(lut.lut.table)
        return PackedLut(curve, _table(lut.lut, nodes), CODES_10_BIT * nodes.error)
    values = packed(lut.table)
    table = _table(lut, values)
    error = CODES_10_BIT * values.error
    if isinstance(lut, Lut1D):
        return PackedLut(table, None, error)
    return PackedLut(None, table, error)


def _table(lut: Lut1D | Lut3D, values: Packed) -> dict[str, Any]:
    return {"size": lut.size, "domain": lut.domain.tolist(), "table": values.to_data()}
