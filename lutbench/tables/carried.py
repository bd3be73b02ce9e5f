"""Adapt a LUT to the signal range of a file, whatever range the LUT was made for.

Input and output of a LUT are full-scale values, code / (2^n − 1), of a signal in full or in
legal range. Pixels of a clip are read as signal, 0 at black and 1 at white; those of a still
are full-scale values of its own range. One range is a scale and offset of the other, so the
table can be kept exactly, over another domain and with scaled values.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeVar

from lutbench.model.signal import Range, RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Pipeline, Transform
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

T = TypeVar("T", Lut1D, Lut3D)


@dataclass(frozen=True)
class ValueRanges:
    """The signal ranges of a LUT's input and output."""

    source: Range = "full"
    target: Range = "full"


def over_signal(transform: Transform, ranges: ValueRanges) -> Transform:
    """A transform of full-scale values as one from signal to signal.

    >>> legal = over_signal(Lut3D.identity(2), ValueRanges("legal", "legal"))
    >>> legal.domain.round(3)[:, 0].tolist(), legal.apply([0.5, 1.05, -0.05]).round(3).tolist()
    ([-0.073, 1.095], [0.5, 1.05, -0.05])
    """
    return over_codes(transform, ranges, "full")


def over_codes(transform: Transform, ranges: ValueRanges, file_range: Range) -> Transform:
    """A transform for full-scale values of a file whose signal is in `file_range`."""
    if ranges == ValueRanges(file_range, file_range):
        return transform
    # From the LUT's input and output values to those of the file.
    to_input, to_output = (
        Pipeline((SignalFromRange(each), RangeFromSignal(file_range)))
        for each in (ranges.source, ranges.target)
    )
    match transform:
        case ShaperLut3D():
            shaper = _with_domain(transform.shaper, to_input.apply(transform.shaper.domain))
            return replace(transform, shaper=shaper, lut=_with_output(transform.lut, to_output))
        case Lut1D():
            moved_1d = _with_domain(transform, to_input.apply(transform.domain))
            return _with_output(moved_1d, to_output)
        case Lut3D():
            moved_3d = _with_domain(transform, to_input.apply(transform.domain))
            return _with_output(moved_3d, to_output)
    return Pipeline((to_input.inverse(), transform, to_output))


def _with_domain(lut: T, domain: Array) -> T:
    return replace(lut, domain=domain)


def _with_output(lut: T, change: Transform) -> T:
    return replace(lut, table=change.apply(lut.table))
