"""Functions that mix LUTs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.face.made import size_of, titled
from lutbench.model.catalogue import Catalogue

if TYPE_CHECKING:
    from lutbench.algebra.result import Reworked

AMOUNTS = (-1, 3)
"""How far a mix may go: see `lutbench.algebra.blending`."""


def blend(
    first: LutLike,
    second: LutLike,
    amount: float = 0.5,
    *,
    size: int | None = None,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """A LUT part of the way from one to another, mixed as signals.

    Parameters
    ----------
    first, second
        LUTs, paths, or words.
    amount
        0 is the first, 1 the second; −1 to 3.
    size
        Of the result; the larger of the two unless given.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance to the mix itself in 10-bit codes.

    Raises
    ------
    LutbenchError
        When the domains differ, a file cannot be read, or a number is out of range.
    """
    from lutbench.algebra.blending import blend

    one, other = (arguments.transform(each, catalogue) for each in (first, second))
    part = arguments.real(amount, "amount", *AMOUNTS)
    return titled(blend(one, other, part, size_of(size)), title)


def strength(
    lut: LutLike,
    amount: float,
    *,
    base: LutLike | None = None,
    size: int | None = None,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """A look at another strength.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    amount
        0 takes the look away, 1 leaves it as it is, 2 doubles it; −1 to 3.
    base
        The plain conversion that the look sits on; no change at all unless given, which
        is right only where input and output are the same encoding.
    size
        Of the result; as the LUT's unless given.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance to the mix itself in 10-bit codes.

    Raises
    ------
    LutbenchError
        When a file cannot be read, or a number is out of range.
    """
    from lutbench.algebra.blending import strength

    under = None if base is None else arguments.transform(base, catalogue, "base")
    part = arguments.real(amount, "amount", *AMOUNTS)
    look = arguments.transform(lut, catalogue)
    return titled(strength(look, part, under, size_of(size)), title)
