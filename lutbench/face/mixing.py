"""Functions that mix LUTs: `blend`, `strength`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.face.made import size_of, titled
from lutbench.model.catalogue import Catalogue

if TYPE_CHECKING:
    from lutbench.algebra.result import Reworked

AMOUNTS = (-1, 3)
"""Smallest and largest amount of a mix; `lutbench.algebra.blending` gives the reason."""


def blend(
    first: LutLike,
    second: LutLike,
    amount: float = 0.5,
    *,
    size: int | None = None,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """A LUT between two others, mixed as signal values.

    Parameters
    ----------
    first, second
        LUTs, paths, or words.
    amount
        0 is the first, 1 the second; −1 to 3.
    size
        Size of the result; that of the larger LUT unless given.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance from the exact mix in 10-bit codes.

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
    """A LUT with its look made stronger or weaker.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    amount
        0 removes the look, 1 leaves it as it is, 2 doubles it; −1 to 3.
    base
        The conversion without the look; unless given, the identity, which is right only
        where input and output are the same encoding.
    size
        Size of the result; that of the LUT unless given.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance from the exact mix in 10-bit codes.

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
