"""The transform that is inspected, with its neutral axis and its lattice."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData
from lutbench.tables.cells import channel_planes
from lutbench.tables.lut import USUAL_SIZE, Domain, Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import (
    LARGEST_PIXEL,
    check_domain,
    checked_apply,
    checked_outputs,
    domain_of,
    greys,
    neutral_inputs,
    node_input,
)
from lutbench.tables.traces import CLIPPED_SIGNAL, clipped

CODES = CODES_10_BIT
"""10-bit codes of the full range: what a signal of 0..1 is multiplied by."""


@dataclass(frozen=True)
class Subject:
    """A transform under inspection."""

    lut: Transform

    @cached_property
    def sampled(self) -> bool:
        """Whether the lattice had to be sampled from a transform that has none."""
        return not isinstance(self.lut, Lut)

    @cached_property
    def type(self) -> Literal["lut1d", "lut3d", "shaper_lut3d", "transform"]:
        """The class of the LUT, in a word."""
        return self.lut.kind if isinstance(self.lut, Lut) else "transform"

    @cached_property
    def lattice(self) -> Lut3D | None:
        """The 3D part; None for a 1D LUT."""
        if isinstance(self.lut, Lut1D):
            return None
        if isinstance(self.lut, Lut3D):
            return self.lut
        if isinstance(self.lut, ShaperLut3D):
            return self.lut.lut
        from lutbench.tables.nodes import sample

        return sample(self.lut, USUAL_SIZE)

    @cached_property
    def domain(self) -> Domain:
        """The lowest and highest inputs of the transform, shape (2, 3)."""
        return domain_of(self.lut)

    @property
    def size(self) -> int:
        """Rows of a 1D LUT, or nodes along an edge."""
        if isinstance(self.lut, Lut1D):
            return self.lut.size
        assert self.lattice is not None
        return self.lattice.size

    @cached_property
    def planes(self) -> Array:
        """The table by channel: shape (3, n, n, n), or (3, n) for a 1D LUT."""
        table = self.lut.table if isinstance(self.lut, Lut1D) else self._lattice_table
        return channel_planes(checked_outputs(table, LARGEST_PIXEL))

    @property
    def _lattice_table(self) -> NDArray[Any]:
        assert self.lattice is not None
        return self.lattice.table

    @cached_property
    def at_end(self) -> NDArray[np.bool_]:
        """Where a value is the lowest or highest that its channel gives; like `planes`."""
        return clipped(self.planes)

    @cached_property
    def neutral(self) -> NeutralAxis:
        """What comes out for R = G = B."""
        check_domain(self.lut)
        inputs = neutral_inputs(self.lut, self.size)
        return NeutralAxis(inputs, checked_apply(self.lut, greys(inputs), LARGEST_PIXEL))

    def node_input(self, node: tuple[int, ...]) -> tuple[float, ...]:
        """The input values of a node, before a shaper where there is one."""
        lut = self.lut if isinstance(self.lut, Lut) else self.lattice
        assert lut is not None
        return node_input(lut, node)


@dataclass(frozen=True, eq=False)
class Clip(PlainData):
    """The inputs at one end of the neutral axis that all come out at the same `level`.

    `onset` is the input where clipping begins, found between two nodes by the slope of the
    step before; `share` is the clipped part of the input scale; `nodes` are those in it.
    """

    KEYS = ("from=onset", "share", "level")

    onset: float
    share: float
    level: float
    nodes: int


@dataclass(frozen=True, eq=False)
class NeutralAxis:
    """Inputs, shape (m,), and the R G B that come out, shape (m, 3)."""

    inputs: Array
    outputs: Array

    @cached_property
    def mean(self) -> Array:
        """The mean of R G B at each input, shape (m,)."""
        return np.asarray(self.outputs.mean(axis=1))

    @property
    def black(self) -> float:
        """What the lowest input gives."""
        return float(self.mean[0])

    @property
    def white(self) -> float:
        """What the highest input gives."""
        return float(self.mean[-1])

    @cached_property
    def slopes(self) -> Array:
        """Output over input between neighbours, shape (m − 1,)."""
        return np.asarray(np.diff(self.mean) / np.diff(self.inputs))

    def at(self, value: float) -> Array:
        """R G B at an input, by linear interpolation, shape (3,)."""
        return np.array([np.interp(value, self.inputs, self.outputs[:, c]) for c in range(3)])

    def slope_at(self, value: float) -> float:
        """The slope around an input, over the step that it lies in and one more on each side."""
        index = int(np.clip(np.searchsorted(self.inputs, value) - 1, 0, len(self.slopes) - 1))
        low, high = max(index - 1, 0), min(index + 2, len(self.inputs) - 1)
        rise = self.mean[high] - self.mean[low]
        return float(rise / (self.inputs[high] - self.inputs[low]))

    @cached_property
    def middle(self) -> float:
        """The input that comes out half way between the lowest and the highest output."""
        half = (float(self.mean.min()) + float(self.mean.max())) / 2
        rising = np.maximum.accumulate(self.mean)
        over = int(np.argmax(rising >= half))
        if over == 0:
            return float(self.inputs[0])
        step = self.mean[over] - self.mean[over - 1]
        part = (half - self.mean[over - 1]) / step if step > 0 else 0.5
        return float(self.inputs[over - 1] + part * (self.inputs[over] - self.inputs[over - 1]))

    @cached_property
    def steepest(self) -> tuple[float, float]:
        """The greatest slope, and the input in the middle of that step."""
        index = int(np.argmax(self.slopes))
        return float(self.slopes[index]), float(self.inputs[index : index + 2].mean())

    @cached_property
    def fall(self) -> tuple[float, int, int]:
        """The deepest fall of any channel, the node where it ends, and the channel."""
        drops = np.maximum.accumulate(self.outputs, axis=0) - self.outputs
        node, channel = np.unravel_index(int(np.argmax(drops)), drops.shape)
        return float(drops[node, channel]), int(node), int(channel)

    @cached_property
    def tint(self) -> tuple[float, int]:
        """The widest spread of R G B, and the node where it is."""
        spread = self.outputs.max(axis=1) - self.outputs.min(axis=1)
        node = int(np.argmax(spread))
        return float(spread[node]), node

    @cached_property
    def clip_high(self) -> Clip | None:
        """Where highlights are clipped; None if the axis rises to its end."""
        return _clip(self.inputs, self.outputs)

    @cached_property
    def clip_low(self) -> Clip | None:
        """Where shadows are clipped; None if the axis rises from its start."""
        return _clip(self.inputs[::-1], self.outputs[::-1])


def _clip(inputs: Array, outputs: Array) -> Clip | None:
    """The run of equal values at the end of the arrays."""
    same = (np.abs(outputs - outputs[-1]) < CLIPPED_SIGNAL).all(axis=1)
    if same.all():
        return None
    first = len(same) - int(np.argmin(same[::-1]))
    nodes = len(same) - first
    if nodes < 2:
        return None
    onset = float(inputs[first])
    if first >= 2:
        # Between the last free node and the first clipped one: where the slope of the
        # step before would have reached the level.
        level, last, before = (float(outputs[k].mean()) for k in (-1, first - 1, first - 2))
        step = float(inputs[first - 1] - inputs[first - 2])
        slope = (last - before) / step
        gap = float(inputs[first] - inputs[first - 1])
        if slope != 0:
            part = (level - last) / slope / gap
            if 0 <= part <= 1:
                onset = float(inputs[first - 1]) + part * gap
    whole = float(inputs[-1] - inputs[0])
    return Clip(
        onset, abs(float(inputs[-1]) - onset) / abs(whole), float(outputs[-1].mean()), nodes
    )
