"""The result of an operation on LUTs: the new LUT, what was changed, and its error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData, Result
from lutbench.tables.lut import Lut
from lutbench.tables.nodes import greys


@dataclass(frozen=True)
class CodeError(PlainData):
    """Absolute differences in 10-bit code values, over all channels of all points tried."""

    mean: float
    p95: float
    max: float


@dataclass(frozen=True)
class Change(PlainData):
    """One thing that was done to a LUT, or that could not be done."""

    code: str
    message: str
    value: float = 0.0


@dataclass(frozen=True, repr=False)
class Reworked(Result):
    """A LUT made from others."""

    KEYS: ClassVar[tuple[str, ...]] = ("lut", "error_code_10bit=error", "changes")

    lut: Lut
    """The new LUT."""
    error: CodeError
    """The difference from what it stands for; each function says what that is."""
    changes: tuple[Change, ...] = ()
    """What was changed, and what was not possible, in the order of the work."""

    def change(self, code: str) -> Change | None:
        """The first change of that code, or None."""
        return next((each for each in self.changes if each.code == code), None)


def code_error(first: NDArray[Any], second: NDArray[Any]) -> CodeError:
    """The differences of two arrays of signals, in 10-bit code values.

    >>> code_error(np.zeros((2, 3)), np.full((2, 3), 1 / 1023)).mean
    1.0
    """
    if not first.size:
        return CodeError(0.0, 0.0, 0.0)
    codes = np.abs(first.astype(np.float64) - second) * CODES_10_BIT
    return CodeError(float(codes.mean()), float(np.percentile(codes, 95)), float(codes.max()))


def probe(domain: NDArray[np.float64], count: int = 20_000) -> Array:
    """Points at which to compare transforms: random ones, and a neutral ramp; shape (n, 3)."""
    low, high = domain
    scattered = np.random.default_rng(7).random((count, 3))
    ramp = greys(np.linspace(0, 1, 1001))
    return np.asarray(low + np.concatenate([scattered, ramp]) * (high - low))


def difference(first: Transform, second: Transform, domain: NDArray[np.float64]) -> CodeError:
    """The differences of two transforms over a domain, in 10-bit code values."""
    points = probe(domain)
    return code_error(first.apply(points), second.apply(points))


@dataclass(frozen=True, repr=False)
class Inversion(Reworked):
    """An inverse, with the exact share that cannot be inverted.

    Parameters
    ----------
    error
        The error of colours after the inverse and the LUT again.
    collapsed, folded
        Shares of the input cube whose colours coincide, or are turned inside out (by the
        number of tetrahedra; both 0 for a bijection).
    unreached, ambiguous
        Shares of the new lattice's nodes that no input gives, or that several inputs give.
    """

    KEYS = (
        *(*Reworked.KEYS, "bijective", "collapsed_share=collapsed", "folded_share=folded"),
        *("unreached_share=unreached", "ambiguous_share=ambiguous"),
    )

    collapsed: float = 0.0
    folded: float = 0.0
    unreached: float = 0.0
    ambiguous: float = 0.0

    @property
    def bijective(self) -> bool:
        """Whether no two inputs give the same colour."""
        return self.collapsed == 0 and self.folded == 0 and self.ambiguous == 0
