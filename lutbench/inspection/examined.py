"""What an examination looks at: a LUT, what is known of it, and measures that findings share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.subject import CODES, Subject

if TYPE_CHECKING:
    from lutbench.inspection.hue import HueShift

STRAIGHT = 2.1e-4
"""Signal: the second difference that rounding to four decimals leaves of a straight line."""

CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True)
class Place:
    """A place in the table: the node, what goes in there, and what comes out."""

    node: tuple[int, ...]
    input: tuple[float, ...]
    output: tuple[float, ...]

    @property
    def swatch(self) -> str:
        """What comes out, as ``#rrggbb`` of the signal as it is."""
        codes = np.rint(255 * np.clip(np.nan_to_num(self.output), 0, 1)).astype(int)
        return "#" + "".join(f"{code:02x}" for code in codes.tolist())

    def to_data(self) -> dict[str, Any]:
        """The place as plain data."""
        return {
            "node": list(self.node),
            "input": list(self.input),
            "output": list(self.output),
            "swatch": self.swatch,
        }


@dataclass(frozen=True)
class Examined:
    """A LUT under examination.

    Parameters
    ----------
    subject
        The LUT with its neutral axis and its planes.
    limits
        The limits that the user set, by name.
    scene_white
        The input of a 90 % reflectance, where the source curve is known.
    hue
        What happens to hues; None where the source is not known.
    """

    subject: Subject
    limits: Mapping[str, float] = field(default_factory=dict)
    scene_white: float | None = None
    hue: HueShift | None = None

    @property
    def title(self) -> str:
        """What the file calls itself; empty when it does not."""
        return str(getattr(self.subject.lut, "title", ""))

    @cached_property
    def folds(self) -> measures.Folds | None:
        """The folds of the lattice; None for a 1D LUT."""
        return None if self.subject.lattice is None else measures.folds(self.subject)

    @cached_property
    def coarse_bits(self) -> int | None:
        """The bit depth on whose code values the whole table stands; None for none."""
        return measures.coarse_bits(self.subject)

    @property
    def coarse_step(self) -> float:
        """The step of a table that stands on few code values, in 10-bit codes; else 0."""
        return CODES / (2**self.coarse_bits - 1) if self.coarse_bits else 0.0

    @cached_property
    def noise(self) -> float:
        """The noise of the values, in 10-bit codes."""
        return measures.noise(self.subject)

    @cached_property
    def enlarged_from(self) -> tuple[int, float] | None:
        """The nodes an edge of the table that this was enlarged from, and what is left of bends."""
        if self.subject.lattice is None:
            return None
        return measures.enlarged_from(self.subject.planes, STRAIGHT)

    def on_axis(self, index: int) -> Place:
        """The place of a point of the neutral axis."""
        axis = self.subject.neutral
        value = float(axis.inputs[index])
        node = (index,) * 3 if self.subject.lattice is not None else (index,)
        return Place(node, (value,) * 3, tuple(axis.outputs[index].tolist()))

    def at(self, node: tuple[int, ...]) -> Place:
        """The place of a node of the table."""
        index: tuple[Any, ...] = (slice(None), *node)
        values = self.subject.planes[index]
        return Place(node, self.subject.node_input(node), tuple(values.tolist()))
