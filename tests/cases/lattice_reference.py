"""Interpolation in its textbook form in float64, and tables and colours to try it on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

METHODS = ["tetrahedral", "trilinear"]
SIZES = [2, 17, 33, 65, 129]
DOMAINS = {
    "unit": ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)),
    "wide": ((-0.1, -0.2, 0.05), (1.3, 1.1, 2.0)),
    "scene": ((-0.0625, 0.0, 0.0), (16.0, 100.0, 7.3)),
}
FLOAT32 = 2e-6  # a table in 0..1: three roundings of weights and four of sums, 2**-24 each


def reference_3d(
    table: NDArray[Any], domain: Any, rgb: NDArray[Any], method: str
) -> NDArray[np.float64]:
    """The textbook form in float64: a walk along sorted axes, or eight weighted corners."""
    low, high = np.asarray(domain, dtype=np.float64)
    last = table.shape[0] - 1
    flat = np.asarray(rgb, dtype=np.float64).reshape(-1, 3)
    position = (np.clip(flat, low, high) - low) / (high - low) * last
    cell = np.minimum(position.astype(int), last - 1)
    fraction = position - cell
    values = table.astype(np.float64)

    def corner(offset: NDArray[Any]) -> NDArray[np.float64]:
        at = cell + offset
        return np.asarray(values[at[:, 0], at[:, 1], at[:, 2]])

    if method == "trilinear":
        out = np.zeros_like(flat)
        for index in np.ndindex(2, 2, 2):
            weight = np.where(np.array(index) == 1, fraction, 1 - fraction).prod(axis=1)
            out += weight[:, None] * corner(np.array(index))
    else:
        offset = np.zeros_like(cell)
        out = corner(offset)
        order = np.argsort(-fraction, axis=1, kind="stable")
        rows = np.arange(len(flat))
        for step in range(3):
            before = corner(offset)
            offset[rows, order[:, step]] = 1
            out += fraction[rows, order[:, step]][:, None] * (corner(offset) - before)
    return out.reshape(np.shape(rgb))


def reference_1d(table: NDArray[Any], domain: Any, rgb: NDArray[Any]) -> NDArray[np.float64]:
    low, high = np.asarray(domain, dtype=np.float64)
    columns = [
        np.interp(rgb[..., c], np.linspace(low[c], high[c], len(table)), table[:, c].astype(float))
        for c in range(3)
    ]
    return np.stack(columns, axis=-1)


def colours(domain: Any, count: int = 4000, seed: int = 1) -> NDArray[np.float64]:
    """Random colours, a third of them outside the domain, with corners and greys among them."""
    low, high = np.asarray(domain, dtype=np.float64)
    rng = np.random.default_rng(seed)
    unit = rng.uniform(-0.3, 1.3, (count, 3))
    unit[:8] = np.array(list(np.ndindex(2, 2, 2)))
    unit[8:200] = rng.uniform(0, 1, (192, 1))
    unit[200:400, 1] = unit[200:400, 0]
    return np.asarray(low + unit * (high - low))


def random_table(size: int, dimensions: int = 3, seed: int = 2) -> NDArray[np.float64]:
    """No LUT is rougher: neighbouring nodes have nothing to do with each other."""
    return np.random.default_rng(seed).random((*[size] * dimensions, 3))
