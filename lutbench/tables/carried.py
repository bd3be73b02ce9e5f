"""A LUT fed as a file carries its signal, whatever range the LUT itself was made for.

A LUT takes and gives full-scale values, code / (2^n − 1), whose signal lies in full or in
legal range. What is read from a clip is signal, 0 at black and 1 at white; a still holds
full-scale values of its own range. One range is a shift and a scale of the other, so the same
table fits over another domain and with other values, exactly.
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
    """The ranges of the values that a LUT takes and gives."""

    source: Range = "full"
    target: Range = "full"


def over_signal(transform: Transform, ranges: ValueRanges) -> Transform:
    """The transform from signal to signal, of one over full-scale values.

    >>> legal = over_signal(Lut3D.identity(2), ValueRanges("legal", "legal"))
    >>> legal.domain.round(3)[:, 0].tolist(), legal.apply([0.5, 1.05, -0.05]).round(3).tolist()
    ([-0.073, 1.095], [0.5, 1.05, -0.05])
    """
    return over_codes(transform, ranges, "full")


def over_codes(transform: Transform, ranges: ValueRanges, file_range: Range) -> Transform:
    """The transform over full-scale values of a file that carries its signal in `file_range`."""
    if ranges == ValueRanges(file_range, file_range):
        return transform
    # From a value that the LUT takes, or gives, to that of the file.
    taken, given = (
        Pipeline((SignalFromRange(each), RangeFromSignal(file_range)))
        for each in (ranges.source, ranges.target)
    )
    match transform:
        case ShaperLut3D():
            shaper = _over(transform.shaper, taken.apply(transform.shaper.domain))
            return replace(transform, shaper=shaper, lut=_giving(transform.lut, given))
        case Lut1D():
            return _giving(_over(transform, taken.apply(transform.domain)), given)
        case Lut3D():
            return _giving(_over(transform, taken.apply(transform.domain)), given)
    return Pipeline((taken.inverse(), transform, given))


def _over(lut: T, domain: Array) -> T:
    return replace(lut, domain=domain)


def _giving(lut: T, given: Transform) -> T:
    return replace(lut, table=given.apply(lut.table))
