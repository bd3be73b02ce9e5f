"""Interpolation kernels (first, plain form in numpy; the compiled ones follow)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def apply_1d(table: NDArray[Any], domain: NDArray[np.float64], rgb: NDArray[Any]) -> NDArray[Any]:
    """Linear interpolation in each channel, (n, 3) table; clamps, NaN stays NaN."""
    out = np.empty(rgb.shape, rgb.dtype)
    for c in range(3):
        inputs = np.linspace(domain[0, c], domain[1, c], table.shape[0])
        out[..., c] = np.interp(rgb[..., c], inputs, table[:, c])
    out[np.isnan(rgb)] = np.nan
    return out


def apply_3d(
    table: NDArray[Any], domain: NDArray[np.float64], rgb: NDArray[Any], method: str
) -> NDArray[Any]:
    """Tetrahedral or trilinear interpolation, (n, n, n, 3) table; clamps, NaN gives NaN."""
    last = table.shape[0] - 1
    flat = rgb.reshape(-1, 3).astype(np.float64)
    position = (np.clip(flat, domain[0], domain[1]) - domain[0]) / (domain[1] - domain[0]) * last
    bad = np.isnan(position).any(axis=1)
    position[bad] = 0
    cell = np.minimum(position.astype(np.int64), last - 1)
    fraction = position - cell

    def corner(offset: NDArray[np.int64]) -> NDArray[Any]:
        at = cell + offset
        return np.asarray(table[at[:, 0], at[:, 1], at[:, 2]])

    if method == "trilinear":
        out = np.zeros_like(flat)
        for index in np.ndindex(2, 2, 2):
            weight = np.where(np.array(index) == 1, fraction, 1 - fraction).prod(axis=1)
            out += weight[:, None] * corner(np.broadcast_to(np.array(index), cell.shape))
    else:
        order = np.argsort(-fraction, axis=1, kind="stable")
        sorted_fraction = np.take_along_axis(fraction, order, axis=1)
        offset = np.zeros_like(cell)
        value = corner(offset)
        out = (1 - sorted_fraction[:, :1]) * value
        bounds = np.concatenate([sorted_fraction, np.zeros((len(flat), 1))], axis=1)
        for step in range(3):
            np.put_along_axis(offset, order[:, step : step + 1], 1, axis=1)
            out += (bounds[:, step] - bounds[:, step + 1])[:, None] * corner(offset)
    out[bad] = np.nan
    return out.reshape(rgb.shape).astype(rgb.dtype)
