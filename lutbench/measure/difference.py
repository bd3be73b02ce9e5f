"""How much two transforms differ, as seen and in code values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast, get_args

import numpy as np
from numpy.typing import NDArray

from lutbench import long_work
from lutbench.errors import LutbenchError
from lutbench.measure.delta_e import DeltaE, View, view_of
from lutbench.measure.samples import SampledColours, chart_patches, neutral_ramp, random_points
from lutbench.model.encoding import Encoding
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData
from lutbench.tables.lut import Interpolation, Lut, ShaperLut3D
from lutbench.tables.nodes import before_shaper

Measure = Literal["delta_e_2000", "delta_e_itp", "code_10bit"]
MEASURES = get_args(Measure)
BLOCK_COLOURS = 65536
"""Colours that are compared at a time, so that the temporary arrays stay small."""


@dataclass(frozen=True)
class Spread(PlainData):
    """Mean, 95th and 99th percentile and maximum of a set of differences."""

    mean: float
    p95: float
    p99: float
    max: float

    @classmethod
    def of(cls, values: Array) -> Spread:
        """The spread of `values`, shape (n,), n ≥ 1."""
        p95, p99 = np.percentile(values, [95, 99])
        return cls(float(values.mean()), float(p95), float(p99), float(values.max()))


@dataclass(frozen=True)
class Measures(PlainData):
    """The difference between two transforms."""

    delta_e_2000: Spread
    """CIEDE2000, as seen on the target display."""
    delta_e_itp: Spread
    """ΔE ITP, Recommendation ITU-R BT.2124."""
    code_10bit: Spread
    """10-bit codes, for the channel with the largest error."""


DeltaESpreads = dict[DeltaE, Spread]
"""The spread of both colour differences, by their names."""


@dataclass(frozen=True, eq=False)
class PointDifferences:
    """The differences at each test colour: arrays of shape (n,).

    `code_10bit` is the largest of the three channels' differences, in codes
    of 10 bit full range (1/1023 of full scale).
    """

    delta_e_2000: Array
    delta_e_itp: Array
    code_10bit: Array

    def spreads(self) -> dict[str, Spread]:
        """The spread of each measure, by its name."""
        return {
            "delta_e_2000": Spread.of(self.delta_e_2000),
            "delta_e_itp": Spread.of(self.delta_e_itp),
            "code_10bit": Spread.of(self.code_10bit),
        }

    @staticmethod
    def spreads_of(every: Sequence[PointDifferences]) -> dict[str, Spread]:
        """The spread of each measure over all of `every`: one measure at a time, to save memory."""
        return {
            name: Spread.of(np.concatenate([getattr(each, name) for each in every]))
            for name in MEASURES
        }

    def joined(self, others: Iterable[PointDifferences]) -> PointDifferences:
        """These differences and those of `others`, one after the other."""
        every = (self, *others)
        return PointDifferences(
            *(np.concatenate([getattr(each, name) for each in every]) for name in MEASURES)
        )


def measure(a: NDArray[Any], b: NDArray[Any], view: View) -> PointDifferences:
    """The differences of two sets of output signals, shape (n, 3) each, seen through `view`.

    Raises
    ------
    LutbenchError
        When a value is NaN or infinite, or there is nothing to compare.
    """
    if a.shape != b.shape:
        raise LutbenchError(f"outputs of shapes {a.shape} and {b.shape} cannot be compared")
    return _in_blocks(len(a), lambda at: (a[at], b[at]), view)


def measure_sides(
    a: Transform, b: Transform, colours: SampledColours, view: View
) -> PointDifferences:
    """The differences of two transforms at test colours, in blocks, to save memory.

    Raises
    ------
    LutbenchError
        As for `measure`.
    """

    def outputs(at: slice) -> tuple[Array, Array]:
        signals = colours.signals[at]
        first, second = (np.asarray(side.apply(signals), np.float64) for side in (a, b))
        return first, second

    return _in_blocks(len(colours), outputs, view)


def _in_blocks(
    count: int, outputs: Callable[[slice], tuple[NDArray[Any], NDArray[Any]]], view: View
) -> PointDifferences:
    if count == 0:
        raise LutbenchError("there are no outputs to compare")
    found = PointDifferences(*(np.empty(count) for _ in MEASURES))
    for start in range(0, count, BLOCK_COLOURS):
        at = slice(start, min(start + BLOCK_COLOURS, count))
        sides = outputs(at)
        for side, values in zip(("first", "second"), sides, strict=True):
            if not np.isfinite(values).all():
                raise LutbenchError(
                    f"the {side} side gives NaN or infinity for a test colour",
                    accepted="finite values",
                )
        part = _measured(*sides, view)
        for name in MEASURES:
            getattr(found, name)[at] = getattr(part, name)
        long_work.report("comparing", at.stop / count)
    return found


def _measured(a: NDArray[Any], b: NDArray[Any], view: View) -> PointDifferences:
    xyz = view.xyz(a), view.xyz(b)
    codes = np.abs(np.asarray(a, np.float64) - np.asarray(b, np.float64)).max(axis=-1)
    return PointDifferences(view.delta_e_2000(*xyz), view.delta_e_itp(*xyz), CODES_10_BIT * codes)


@dataclass(frozen=True)
class Accuracy(PlainData):
    """The error of a LUT against the transform that it samples."""

    size: int
    interpolation: Interpolation
    measure: DeltaE
    """The measure that counts: ``delta_e_2000``, or ``delta_e_itp`` for HDR and log."""
    sets: dict[str, dict[Measure, Spread]]
    """By set of test colours (``chart``, ``neutral``, ``random``, and ``all``), then by
    measure (``delta_e_2000``, ``delta_e_itp``, ``code_10bit``)."""

    @property
    def error(self) -> Spread:
        """The spread over all test colours, in the measure that counts."""
        return self.sets["all"][self.measure]


def accuracy(
    lut: Lut,
    exact: Transform,
    source: Encoding,
    target: Encoding,
    *,
    interpolation: Interpolation = "tetrahedral",
    view: View | None = None,
) -> Accuracy:
    """The error of `lut` against the transform `exact` on chart patches, neutrals, random colours.

    Both turn full-scale values of `source` into full-scale values of `target` (for a
    `Conversion`: its `result`). The chart is exposed from -3 to +3 stops. The 1024 neutrals
    and the random colours, which fall between nodes, cover the domain of the LUT; with a
    shaper they are evenly spread behind it. Differences are seen through `view`; by default
    as `target` is seen (`view_of`).
    """
    view = view or view_of(target)
    shown = lut.with_interpolation(interpolation)
    tests = _over_domain(lut, source)
    measured = {
        each.name: measure(exact.apply(each.signals), shown.apply(each.signals), view)
        for each in tests
    }
    first, *others = measured.values()
    measured["all"] = first.joined(others)
    sets = {name: cast(dict[Measure, Spread], each.spreads()) for name, each in measured.items()}
    return Accuracy(lut.size, interpolation, view.measure, sets)


def _over_domain(lut: Lut, source: Encoding) -> tuple[SampledColours, ...]:
    """Test colours over the whole domain of a LUT; with a shaper, evenly spread behind it."""
    chart = chart_patches(source, domain=lut.domain)
    if not isinstance(lut, ShaperLut3D):
        return chart, neutral_ramp(domain=lut.domain), random_points(domain=lut.domain)
    return (
        chart,
        *(
            SampledColours(each.name, before_shaper(lut.shaper, each.signals))
            for each in (neutral_ramp(), random_points())
        ),
    )
