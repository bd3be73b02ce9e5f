"""What reading a LUT file gives, and what writing one is told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import UNIT_DOMAIN, Interpolation

T_co = TypeVar("T_co", bound=Transform, covariant=True)

MAX_BYTES = 512 * 1024 * 1024
"""The largest file that is read."""


@dataclass(frozen=True)
class LutFile(Generic[T_co]):
    """A file that was read.

    Parameters
    ----------
    lut
        What the file holds: a LUT, or for other formats a transform.
    format
        ``"cube"``, ``"clf"``, ``"cdl"``, ``"cc"`` or ``"ccc"``.
    notes
        One line for each thing that is not as the format says but was read all
        the same, or was left out; empty for a file without blemish.
    title, comments
        What the file says about itself.
    """

    lut: T_co
    format: str
    notes: tuple[str, ...] = ()
    title: str = ""
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Writing:
    """What a file is to say beside the transform that it holds.

    Parameters
    ----------
    title, comments
        What the file says about itself; comments without the leading ``#``.
    size
        Of a 3D LUT, where the format has to sample one.
    domain
        Shape (2, 3): the inputs that the file is for.
    interpolation
        Between the nodes of such a LUT.
    decimals
        Digits after the point in a text format; None for as many as come back exactly.
    where
        Names the file in errors.
    """

    title: str = ""
    comments: tuple[str, ...] = ()
    size: int = 33
    domain: Array | tuple[tuple[float, ...], ...] = UNIT_DOMAIN
    interpolation: Interpolation = "tetrahedral"
    decimals: int | None = 6
    where: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "domain", np.asarray(self.domain, dtype=np.float64))
