"""The free curve of a fit, and what a target with a model makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from lutbench.identification.samples import CODES
from lutbench.model.transforms import Array

Model = Literal["plain", "tone", "cdl", "contrast", "logistic", "smooth"]

POINTS = 64
FEWEST = 7
DARK = 1e-6

# The curve is known to about this many codes; nothing is told better.
KNOWN_TO = 0.03
# What the part of a curve that no stretch explains counts as, in codes.
UNEXPLAINED = 12.0
INDEPENDENT = 30
"""Points of the curve that say something each for itself, when models are weighed."""

PARAMETER = 3.5
"""What each free parameter of a model costs."""


@dataclass(frozen=True)
class TargetFit:
    """A target and a model of how the free curve comes of it.

    `error` is the root mean square in codes over what is explained, `share`
    the part that is; `parameters` those of the model: for ``cdl`` rows slope,
    offset, power, shape (3, 3); for ``contrast`` the coefficients of each
    channel, shape (3, 4). `cost` weighs models: less is better.
    """

    target: int
    model: Model
    stops: float
    error: float
    share: float
    parameters: Array | None
    cost: float
    group: int = 0


@dataclass(frozen=True)
class FreeCurve:
    """G on a grid: light in, shape (n,), and full-scale output, shape (n, 3).

    `noise` is about how far, in codes, the output is known; `trust`, shape
    (n,), weighs the points: those that the LUT itself gives count most.
    """

    light: Array
    output: Array
    trust: Array
    noise: float = 0.0

    @classmethod
    def of(cls, light: Array, output: Array, trust: Array, noise: float = 0.0) -> FreeCurve:
        """The curve, thinned to a number of points that a fit can bear."""
        if len(light) <= 2 * POINTS:
            return cls(light, output, trust, noise)
        some = np.linspace(0, len(light) - 1, POINTS).round().astype(int)
        return cls(light[some], output[some], trust[some], noise)

    @property
    def tinted(self) -> bool:
        """Whether the channels differ by more than the curve is known to."""
        off = self.output - self.output.mean(axis=1, keepdims=True)
        return bool(np.sqrt(np.mean(off**2)) * CODES > max(4 * KNOWN_TO, 2.5 * self.noise))


def cost_of(error: Array, parameters: float) -> Array:
    """The cost of an error in codes with so many free parameters; less is better."""
    return np.asarray(2 * INDEPENDENT * np.log(np.hypot(error, KNOWN_TO)) + PARAMETER * parameters)


def weighed(fits: Sequence[TargetFit], noise: float) -> list[TargetFit]:
    """Fits with their costs where the curve itself is known to no better than its noise, in codes.

    What a model with more freedom leaves less than that says nothing for it.
    """
    errors = np.array([fit.error for fit in fits])
    more = cost_of(np.hypot(errors, noise), 0) - cost_of(errors, 0)
    return [
        replace(fit, cost=fit.cost + fit.share * float(each))
        for fit, each in zip(fits, more, strict=True)
    ]
