"""The free curve of a fit, and how a target with a model explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from lutbench.identification.samples import CODES
from lutbench.model.transforms import Array

Model = Literal["plain", "tone", "cdl", "contrast", "logistic", "smooth"]

POINTS = 64
"""Points to which a long curve is thinned, which keeps fits quick."""

FEWEST = 7
"""The fewest points that a model is fitted to."""

KNOWN_TO = 0.03
"""10-bit codes to which the curve is known: smaller errors are no evidence."""

UNEXPLAINED = 12.0
"""10-bit codes of error that are assumed for the part of a curve that no stretch explains."""

INDEPENDENT = 30
"""Points of the curve that count as independent when models are compared."""

PARAMETER = 3.5
"""The cost of each free parameter of a model."""


@dataclass(frozen=True)
class TargetFit:
    """A target and the model by which it explains the free curve.

    `error` is the root mean square in codes over the explained part, `share` the size of
    that part; `parameters` those of the model: for ``cdl`` rows slope,
    offset, power, shape (3, 3); for ``contrast`` the coefficients of each
    channel, shape (3, 4). `cost` ranks models: less is better.
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
    """The neutral axis as a curve: light in, shape (n,), and full-scale output, shape (n, 3).

    `noise` is about the error of the output in codes.
    """

    light: Array
    output: Array
    noise: float = 0.0

    @classmethod
    def of(cls, light: Array, output: Array, noise: float = 0.0) -> FreeCurve:
        """The curve, thinned to a number of points that keeps fits quick."""
        if len(light) <= 2 * POINTS:
            return cls(light, output, noise)
        some = np.linspace(0, len(light) - 1, POINTS).round().astype(int)
        return cls(light[some], output[some], noise)

    @property
    def tinted(self) -> bool:
        """Whether the channels differ by more than the error of the curve."""
        off = self.output - self.output.mean(axis=1, keepdims=True)
        return bool(np.sqrt(np.mean(off**2)) * CODES > max(4 * KNOWN_TO, 2.5 * self.noise))


def cost_of(error: Array, parameters: float) -> Array:
    """The cost of an error in codes with a number of free parameters; less is better."""
    return np.asarray(2 * INDEPENDENT * np.log(np.hypot(error, KNOWN_TO)) + PARAMETER * parameters)


def weighed(fits: Sequence[TargetFit], noise: float) -> list[TargetFit]:
    """Fits with their costs for a curve that is known only to its noise, in codes.

    A residual below the noise is no evidence for a model with more freedom.
    """
    errors = np.array([fit.error for fit in fits])
    more = cost_of(np.hypot(errors, noise), 0) - cost_of(errors, 0)
    return [
        replace(fit, cost=fit.cost + fit.share * float(each))
        for fit, each in zip(fits, more, strict=True)
    ]
