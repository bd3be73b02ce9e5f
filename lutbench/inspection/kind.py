"""The kind of a LUT, with the evidence: does each channel go its own way, do neutrals stay?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lutbench.inspection.subject import CODES, Subject
from lutbench.model.transforms import Array
from lutbench.tables.lut import Lut
from lutbench.tables.nodes import node_inputs

KINDS = ("curve", "gamut", "combined", "identity")

# In 10-bit codes. Half a code is what rounding to 10 bits may change: less than that
# is no change at all. The other two allow one code, so that a LUT with noise or with
# values rounded to 10 bits is still told.
SAME = 0.5
SEPARABLE = 1.0
NEUTRAL = 1.0


@dataclass(frozen=True)
class Evidence:
    """Measures in 10-bit codes.

    Parameters
    ----------
    change
        The largest difference between output and input on the nodes.
    separability_residual
        The 95th percentile over the nodes of what is left when each output
        channel is explained by its own input channel alone.
    neutral_deviation
        The 95th percentile of |output − input| on the neutral axis, where it is
        not clipped.
    """

    change: float
    separability_residual: float
    neutral_deviation: float

    @property
    def kind(self) -> str:
        """``identity``, ``curve``, ``gamut`` or ``combined``."""
        if self.change <= SAME:
            return "identity"
        if self.separability_residual <= SEPARABLE:
            return "curve"
        return "gamut" if self.neutral_deviation <= NEUTRAL else "combined"

    def to_data(self) -> dict[str, Any]:
        """The measures with the limits they were held against."""
        return {
            "change": self.change,
            "separability_residual": self.separability_residual,
            "neutral_deviation": self.neutral_deviation,
            "unit": "10-bit codes",
            "limits": {
                "change": SAME,
                "separability_residual": SEPARABLE,
                "neutral_deviation": NEUTRAL,
            },
        }


def evidence_of(subject: Subject) -> Evidence:
    """What tells the kind of a LUT."""
    axis = subject.neutral
    change = np.abs(axis.outputs - axis.inputs[:, None]).max()
    residual = 0.0
    if (lattice := subject.lattice) is not None:
        nodes = node_inputs(subject.lut if isinstance(subject.lut, Lut) else lattice)
        change = max(change, np.abs(np.asarray(lattice.table, np.float64) - nodes).max())
        residual = _separability(subject.planes)
    free = axis.mean[(axis.mean > axis.mean.min() + 1e-5) & (axis.mean < axis.mean.max() - 1e-5)]
    moved = np.abs(axis.outputs - axis.inputs[:, None]).max(axis=1)
    inside = np.isin(axis.mean, free) if free.size else np.ones(axis.mean.shape, bool)
    deviation = float(np.percentile(moved[inside], 95))
    return Evidence(float(change) * CODES, residual * CODES, deviation * CODES)


def _separability(planes: Array) -> float:
    """How far a channel is from a function of its own input alone: 95th percentile."""
    worst = np.zeros(planes.shape[1:])
    for channel in range(3):
        own = np.moveaxis(planes[channel], channel, 0)
        centre = np.median(own.reshape(own.shape[0], -1), axis=1)
        left = np.abs(own - centre[:, None, None])
        np.maximum(worst, np.moveaxis(left, 0, channel), out=worst)
    return float(np.percentile(worst, 95))
