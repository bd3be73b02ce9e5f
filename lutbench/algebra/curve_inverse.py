"""The inverse of a 1D LUT, channel by channel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.repairing import isotonic
from lutbench.algebra.result import Change, Inversion, code_error
from lutbench.algebra.solving import FLAT_SIGNAL
from lutbench.errors import NotInvertibleError
from lutbench.model.transforms import Array
from lutbench.tables.lut import Lut1D, axes_of


def inverted_curve(lut: Lut1D, size: int | None, title: str) -> Inversion:
    """The inverse of a 1D LUT with `size` rows; by default four times its own, at least 4096.

    Raises
    ------
    NotInvertibleError
        When a channel does not rise from its first row to its last.
    """
    table = lut.table.astype(np.float64)
    rising = np.diff(table, axis=0)
    if (table[-1] <= table[0]).any():
        raise NotInvertibleError(f"{lut!r} does not rise from its first row to its last")
    flat = float((np.abs(rising) < FLAT_SIGNAL / lut.size).mean())
    falling = float((rising <= -FLAT_SIGNAL / lut.size).mean())
    curve = isotonic(table)
    low, high = curve[0], curve[-1]
    count = size or min(max(4 * lut.size, 4096), 65536)
    outputs = np.linspace(low, high, count)
    inputs = axes_of(lut)
    rows = np.empty_like(outputs)
    for c in range(3):
        # A flat part is inverted to its middle; at the top to where clipping begins, and at
        # the bottom to where it ends, since only up to there light is shown.
        values, first, many = np.unique(curve[:, c], return_index=True, return_counts=True)
        chosen = 0.5 * (inputs[first, c] + inputs[first + many - 1, c])
        chosen[0], chosen[-1] = inputs[many[0] - 1, c], inputs[first[-1], c]
        rows[:, c] = np.interp(outputs[:, c], values, chosen)
    result = Lut1D(rows, np.stack([low, high]), title)
    points = np.linspace(lut.domain[0], lut.domain[1], 4 * count + 1)
    colours = lut.apply(points)
    back = result.apply(colours)
    error = code_error(lut.apply(back), colours)
    kept = _outside_flats(points, inputs, np.abs(rising) < FLAT_SIGNAL / lut.size)
    span = lut.domain[1] - lut.domain[0]
    missed = code_error((back / span)[kept], (points / span)[kept])
    changes = [
        Change(
            "round_trip",
            f"round trip through the inverse and the LUT: off by {error.mean:.3f} 10-bit codes on"
            f" average, {error.max:.2f} at most; inputs outside flat parts come back to within"
            f" {missed.mean:.3f} on average, {missed.max:.2f} at most",
            error.mean,
        )
    ]
    if flat:
        changes.append(
            Change("collapsed", f"{100 * flat:.3f} % of the curve is flat (clipped)", flat)
        )
    if falling:
        changes.append(Change("folded", f"{100 * falling:.3f} % of the curve falls", falling))
    return Inversion(result, error, tuple(changes), flat, falling)


def _outside_flats(points: Array, inputs: Array, flat: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of `points`, shape (n, 3), lie outside the flat parts (where inputs are lost)."""
    kept = np.ones(len(points), dtype=bool)
    for c in range(3):
        part = np.clip(np.searchsorted(inputs[:, c], points[:, c], side="right") - 1, 0, len(flat))
        kept &= ~flat[np.minimum(part, len(flat) - 1), c]
    return kept
