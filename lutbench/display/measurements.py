"""Readings of a meter: code values and XYZ in a CSV file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.formats.columns import read_columns
from lutbench.model.signal import BIT_DEPTHS, Range, range_of, signal_from_code
from lutbench.model.transforms import Array, Mask

ACCEPTED = "columns name, R, G, B (code values) and X, Y, Z or Y, x, y (Y in cd/m²)"

MOST_CD_M2 = 1e5
"""cd/m²: no display is brighter, so a larger reading is a mistake."""


@dataclass(frozen=True, eq=False)
class Measurements:
    """The patches that were shown, and their readings."""

    names: tuple[str, ...]
    """The name of each patch, n of them."""
    signal: Array
    """The signals that were shown, 0..1, shape (n, 3)."""
    xyz: Array
    """The readings, CIE 1931 2°, Y in cd/m², shape (n, 3)."""
    coding: str = "signal 0 to 1"
    """How the code values of the file were interpreted, in words."""
    range: Range = "full"
    """The signal range of the code values."""

    def __post_init__(self) -> None:
        if self.signal.ndim != 2 or self.signal.shape != self.xyz.shape:
            raise LutbenchError(
                f"signals of shape {self.signal.shape} and readings of {self.xyz.shape}",
                accepted="two arrays of shape (n, 3)",
            )

    def where(self, *signal: float) -> Mask:
        """Which patches show a signal, within half an 8-bit code; shape (n,)."""
        return np.asarray((np.abs(self.signal - np.array(signal)) < 0.5 / 255).all(axis=1))

    def mean(self, *signal: float) -> Array | None:
        """The mean reading of a signal, or None where it was not shown."""
        which = self.where(*signal)
        return self.xyz[which].mean(axis=0) if which.any() else None

    def chosen(self, which: NDArray[Any]) -> Measurements:
        """Some of the patches: indices, or True and False for each."""
        names = tuple(np.array(self.names, dtype=object)[which].tolist())
        return Measurements(names, self.signal[which], self.xyz[which], self.coding, self.range)


def read_measurements(
    path: str | Path, bits: int | None = None, range_: Range | None = None
) -> Measurements:
    """The measurements in a CSV file with columns R, G, B and X, Y, Z (or Y, x, y).

    Parameters
    ----------
    bits, range_
        Bit depth and range of the code values. Unless both are given, the largest code decides,
        since white is among the patches: 1 is a signal; 255, 1023, 4095 and 65535 are full
        range; 235, 940, 3760 and 60160 are legal range.

    Raises
    ------
    FormatError
        With the row; also when the largest code is none of these.
    """
    names, columns, table = read_columns(
        path, ("R", "G", "B", "X", "Y", "Z"), ("R", "G", "B", "Y", "x", "y"), accepted=ACCEPTED
    )
    codes, read = table[:, :3], table[:, 3:]
    signal, coding, taken = _signal(codes, bits, range_, path)
    xyz = read if columns[3] == "X" else _from_yxy(read, names, path)
    bad = np.flatnonzero((xyz.min(axis=1) < -0.05) | (xyz.max(axis=1) > MOST_CD_M2))
    if bad.size:
        raise FormatError(
            f"the reading of {names[bad[0]]} is out of range",
            where=path,
            accepted=f"X, Y, Z from 0 to {MOST_CD_M2:g}",
        )
    return Measurements(names, signal, xyz, coding, taken)


def _signal(
    codes: Array, bits: int | None, range_: Range | None, path: str | Path
) -> tuple[Array, str, Range]:
    top = float(codes.max())
    laid_out: list[tuple[int, Range]] = [(b, r) for b in BIT_DEPTHS for r in ("full", "legal")]
    if bits is not None and range_ is not None:
        found: tuple[int, Range] | None = (bits, range_)
    elif top <= 1 and bits is None:
        return codes, "signal 0 to 1", range_ or "full"
    else:
        fits = [
            each
            for each in laid_out
            if range_of(*each)[1] == top and bits in (None, each[0]) and range_ in (None, each[1])
        ]
        found = fits[0] if fits else None
    if found is None:
        raise FormatError(
            f"the largest code is {top:g}, which is not the code of white in any usual range",
            where=path,
            accepted="white among the patches (255, 1023, 4095; legal 235, 940, 3760), or"
            " bits= and range_=",
        )
    if codes.min() < 0 or top > 2 ** found[0] - 1:
        raise FormatError(
            f"holds codes from {codes.min():g} to {top:g}",
            where=path,
            accepted=f"0 to {2 ** found[0] - 1} for {found[0]} bits",
        )
    return signal_from_code(codes, *found), f"{found[0]}-bit codes, {found[1]} range", found[1]


def _from_yxy(read: Array, names: tuple[str, ...], path: str | Path) -> Array:
    luminance, x, y = read.T
    bad = np.flatnonzero((y <= 0) & (luminance > 0))
    if bad.size:
        raise FormatError(
            f"the reading of {names[bad[0]]} has y = {y[bad[0]]:g}", where=path, accepted="y over 0"
        )
    safe = np.where(y > 0, y, 1.0)
    relative = np.stack([x / safe, np.ones_like(x), (1 - x - y) / safe], axis=1)
    return np.asarray(relative * luminance[:, None])
