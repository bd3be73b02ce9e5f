"""Test colours: the signals at which two transforms are compared.

Every set holds full-scale values (code / (2^n - 1)), shape (n, 3), in 0..1 or in the domain
of a LUT.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import Gamut, adaptation_matrix
from lutbench.model.signal import RangeFromSignal
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, ShaperLut3D, axes_of
from lutbench.tables.nodes import before_shaper, node_inputs

CHART_WHITE = (0.345702914918791, 0.358538596679933)
"""xy of the illuminant under which the chart was measured: D50 of ICC.1:2022."""

CHART_STOPS = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
"""Stops from the metered exposure at which the chart is taken."""

RAMP_GREYS = 1024
"""Greys of a ramp: the codes of 10 bits."""

RANDOM_COUNT = 4096
"""Random colours: enough for a stable 95th percentile."""

SEED = 18
"""Seed of the random colours, so that every run has the same ones."""


@dataclass(frozen=True, eq=False)
class LatticeInputs:
    """The inputs of a lattice's nodes, computed when they are asked for.

    Behaves like an array of shape (size³ + m, 3) for `len`, index, slice and `numpy.asarray`.
    For a large lattice the array itself would take as much memory as the table.

    Parameters
    ----------
    axes
        The inputs along each channel, shape (size, 3).
    further
        Inputs beside the nodes, shape (m, 3): those of a shaper's rows.

    >>> inputs = LatticeInputs(np.linspace([0.0] * 3, [1.0] * 3, 2))
    >>> len(inputs), inputs[1:3].tolist()
    (8, [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
    """

    axes: Array
    further: Array = field(default_factory=lambda: np.empty((0, 3)))

    def __len__(self) -> int:
        return len(self.axes) ** 3 + len(self.further)

    def __getitem__(self, at: int | slice | NDArray[Any]) -> Array:
        size = len(self.axes)
        index = np.arange(*at.indices(len(self))) if isinstance(at, slice) else np.asarray(at)
        node = np.minimum(index, size**3 - 1)
        places = (node // size**2, node // size % size, node % size)
        found = np.stack([self.axes[place, c] for c, place in enumerate(places)], axis=-1)
        beyond = index >= size**3
        if beyond.any():
            found[beyond] = self.further[index[beyond] - size**3]
        return np.asarray(found)

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> Array:
        return np.asarray(self[:], dtype=dtype)

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, LatticeInputs)
            and np.array_equal(self.axes, other.axes)
            and np.array_equal(self.further, other.further)
        )

    @property
    def ends(self) -> tuple[Array, Array]:
        """The least and the greatest input of each channel."""
        every = np.concatenate([self.axes, self.further])
        return every.min(axis=0), every.max(axis=0)


@dataclass(frozen=True, eq=False)
class SampledColours:
    """Named test colours: `signals` of shape (n, 3), and a label for each, or no labels."""

    name: str
    signals: Any
    """An array of shape (n, 3), or `LatticeInputs`."""
    labels: Sequence[str] = ()

    def __post_init__(self) -> None:
        if not len(self.signals):
            raise LutbenchError(f"the test colours {self.name!r} are empty")

    def __len__(self) -> int:
        return len(self.signals)

    @property
    def ends(self) -> tuple[Array, Array]:
        """The least and the greatest signal of each channel."""
        if isinstance(self.signals, LatticeInputs):
            return self.signals.ends
        return self.signals.min(axis=0), self.signals.max(axis=0)

    def same_as(self, other: SampledColours) -> bool:
        """Whether both hold the same signals."""
        if isinstance(self.signals, LatticeInputs):
            return bool(self.signals == other.signals)
        return np.array_equal(self.signals, other.signals)

    def label(self, index: int) -> str:
        """The label of the colour at `index`; empty without labels."""
        return self.labels[index] if self.labels else ""


@cache
def chart24() -> tuple[tuple[str, ...], Array]:
    """Names and XYZ, shape (24, 3), of a measured 24-patch chart under D50, white Y = 1.

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
    """The chart's patches in linear R G B of `gamut`, adapted with Bradford, shape (24, 3)."""
    adapt = adaptation_matrix(CHART_WHITE, gamut.white)
    return np.asarray(chart24()[1] @ np.linalg.solve(gamut.to_xyz, adapt).T)


def chart_patches(
    source: Encoding, stops: ArrayLike = CHART_STOPS, domain: ArrayLike | None = None
) -> SampledColours:
    """The 24-patch chart at each exposure in stops, as full-scale values of `source`.

    Colours outside the range of the signal (clipped, or below black) or outside the `domain`
    of a LUT are left out.
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
        if most.max() > 1:  # scene-linear light has no highest code
            carried = np.ones_like(carried)
        carried &= ((coded >= least) & (coded <= most)).all(axis=-1)
        signals.append(coded[carried])
        exposure = f" {stop:+g} stops" if stop else ""
        labels += [name + exposure for name, kept in zip(names, carried, strict=True) if kept]
    return SampledColours("chart", np.concatenate(signals), tuple(labels))


def neutral_ramp(count: int = RAMP_GREYS, domain: ArrayLike = UNIT_DOMAIN) -> SampledColours:
    """Greys at equal steps from one end of the domain to the other; by default every 10-bit code.

    If the channels have different domains, the greys lie on the diagonal of the domain.
    """
    low, high = np.asarray(domain, dtype=np.float64)
    return SampledColours("neutral", np.linspace(low, high, count))


def random_points(
    count: int = RANDOM_COUNT, seed: int = SEED, domain: ArrayLike = UNIT_DOMAIN
) -> SampledColours:
    """Uniformly distributed random values over the domain, the same for the same seed.

    They practically never fall on a node, so interpolation is tested.
    """
    low, high = np.asarray(domain, dtype=np.float64)
    return SampledColours(
        "random", low + (high - low) * np.random.default_rng(seed).random((count, 3))
    )


def nodes(size: int, domain: ArrayLike = UNIT_DOMAIN) -> SampledColours:
    """The inputs of the nodes of a lattice with `size` nodes along an edge."""
    low, high = np.asarray(domain, dtype=np.float64)
    return SampledColours(f"nodes of {size}", LatticeInputs(np.linspace(low, high, size)))


def nodes_of(side: Transform) -> SampledColours | None:
    """The inputs of a LUT's nodes or rows, and of its shaper's rows; None for other transforms."""
    if not isinstance(side, Lut):
        return None
    if isinstance(side, Lut1D):
        return SampledColours(f"rows of {side.size}", node_inputs(side))
    if isinstance(side, ShaperLut3D):
        axes = before_shaper(side.shaper, axes_of(side.lut))
        inputs = LatticeInputs(axes, node_inputs(side.shaper))
        return SampledColours(f"nodes of {side.size}", inputs)
    return nodes(side.size, side.domain)
