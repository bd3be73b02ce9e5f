"""Test colours: the signals at which two transforms are compared.

Every set is given as full-scale values (code / (2^n - 1)), shape (n, 3): in 0..1,
or in the domain of a LUT that takes other values.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import LutbenchError
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import Gamut, adaptation_matrix
from lutbench.model.signal import RangeFromSignal
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, ShaperLut3D, lattice
from lutbench.tables.nodes import node_inputs

CHART_WHITE = (0.345702914918791, 0.358538596679933)
"""xy of the illuminant under which the chart was measured: D50 of ICC.1:2022."""

CHART_STOPS = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
"""Stops at which the chart is exposed: three under and over."""

RAMP_COUNT = 1024
"""Greys of a ramp: the codes of 10 bits."""

RANDOM_COUNT = 4096
"""Random colours: enough for a steady 95th percentile."""

SEED = 18
"""Of the random colours: the same at every run."""


@dataclass(frozen=True, eq=False)
class SampledColours:
    """Named test colours: `signals` of shape (n, 3), and what each is where that helps."""

    name: str
    signals: Array
    labels: Sequence[str] = ()

    def __post_init__(self) -> None:
        if not len(self.signals):
            raise LutbenchError(f"the test colours {self.name!r} are empty")

    def label(self, index: int) -> str:
        """What the colour at `index` is, or nothing."""
        return self.labels[index] if self.labels else ""


@cache
def chart24() -> tuple[tuple[str, ...], Array]:
    """Names, and XYZ under the chart's D50 (white Y = 1) of a measured 24-patch chart, (24, 3).

    Source: the chart data of colour-science, production after November 2014.

    >>> names, xyz = chart24()
    >>> names[21], float(xyz[21, 1].round(4))
    ('neutral 5 (.70 D)', 0.1906)
    """
    text = files("lutbench").joinpath("data/chart24.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    x, y, luminance = (np.array([float(row[key]) for row in rows]) for key in ("x", "y", "Y"))
    xyz = np.stack([x / y, np.ones_like(x), (1 - x - y) / y], axis=-1) * luminance[:, None]
    xyz.flags.writeable = False
    return tuple(row["name"] for row in rows), xyz


def chart_light(gamut: Gamut) -> Array:
    """The chart's patches as linear R G B of `gamut`, white-adapted with Bradford, (24, 3)."""
    adapt = adaptation_matrix(CHART_WHITE, gamut.white)
    return np.asarray(chart24()[1] @ np.linalg.solve(gamut.to_xyz, adapt).T)


def chart_patches(
    source: Encoding, stops: ArrayLike = CHART_STOPS, domain: ArrayLike | None = None
) -> SampledColours:
    """The 24-patch chart at each exposure in stops, as full-scale values of `source`.

    A colour that the signal cannot carry (clipped, or under black), or that lies outside
    the `domain` of a LUT where one is given, is left out.
    """
    names = chart24()[0]
    light = chart_light(source.gamut)
    signals, labels = [], []
    for stop in np.atleast_1d(np.asarray(stops, dtype=np.float64)):
        coded = source.curve.encode(light * 2.0**stop)
        low, high = source.curve.ends
        carried = np.atleast_1d(((coded >= low) & (coded <= high)).all(axis=-1))
        if source.range == "legal":
            coded = RangeFromSignal("legal", source.bits).apply(coded)
        least, most = np.asarray(UNIT_DOMAIN if domain is None else domain, dtype=np.float64)
        if most.max() > 1:  # scene-linear light: values go on where codes would end
            carried = np.ones_like(carried)
        carried &= ((coded >= least) & (coded <= most)).all(axis=-1)
        signals.append(coded[carried])
        exposure = f" {stop:+g} stops" if stop else ""
        labels += [name + exposure for name, kept in zip(names, carried, strict=True) if kept]
    return SampledColours("chart", np.concatenate(signals), tuple(labels))


def neutral_ramp(count: int = RAMP_COUNT, domain: ArrayLike = UNIT_DOMAIN) -> SampledColours:
    """Greys from one end of the domain to the other at equal steps; by default every 10-bit code.

    Where the channels' domains differ, a grey runs along the diagonal.
    """
    low, high = np.asarray(domain, dtype=np.float64)
    return SampledColours("neutral", np.linspace(low, high, count))


def random_points(
    count: int = RANDOM_COUNT, seed: int = SEED, domain: ArrayLike = UNIT_DOMAIN
) -> SampledColours:
    """Values spread evenly over the domain by chance, the same for the same seed.

    Such a point all but never falls on a node, so interpolation is at work.
    """
    low, high = np.asarray(domain, dtype=np.float64)
    return SampledColours(
        "random", low + (high - low) * np.random.default_rng(seed).random((count, 3))
    )


def nodes(size: int, domain: ArrayLike = UNIT_DOMAIN) -> SampledColours:
    """The inputs of the nodes of a lattice of `size` points an edge."""
    return SampledColours(f"nodes of {size}", lattice(size, domain).reshape(-1, 3))


def nodes_of(side: Transform) -> SampledColours | None:
    """The inputs at which a LUT holds values: its nodes or rows; None for another transform.

    The rows of a shaper are among them.
    """
    if not isinstance(side, Lut):
        return None
    inputs = node_inputs(side).reshape(-1, 3)
    if isinstance(side, Lut1D):
        return SampledColours(f"rows of {side.size}", inputs)
    if isinstance(side, ShaperLut3D):
        inputs = np.concatenate([inputs, node_inputs(side.shaper)])
    return SampledColours(f"nodes of {side.size}", inputs)
