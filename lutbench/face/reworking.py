"""Functions that make LUTs of LUTs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Literal

from lutbench import given
from lutbench.algebra.repairing import FADE, MOST_MOVED
from lutbench.errors import one_of
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.face.renaming import renamed
from lutbench.model.catalogue import Catalogue
from lutbench.tables.lut import SIZES_1D, SIZES_3D, Lut, Lut1D, Lut3D, ShaperLut3D

if TYPE_CHECKING:
    from lutbench.algebra.result import Inversion, Reworked


def chain(
    *luts: LutLike,
    size: int | None = None,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """One LUT that does what several do one after the other, first to last.

    Parameters
    ----------
    luts
        LUTs, paths, or words.
    size
        Of the result; the largest of the chain unless given.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance to the chain itself in 10-bit codes.

    Raises
    ------
    LutbenchError
        When nothing to chain was given, or a file cannot be read.
    """
    from lutbench.algebra.chaining import chain

    steps = [arguments.transform(each, catalogue) for each in luts]
    return chain(steps, _size(size), title=arguments.text(title, "title"))


def invert(
    lut: LutLike,
    *,
    size: int | None = None,
    shaper: bool = False,
    fallback: Literal["gamut", "nearest"] = "gamut",
    hold: bool = False,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Inversion:
    """The LUT that undoes a LUT, and the share of it that cannot be undone.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    size
        Of the new lattice; the LUT's own unless given.
    shaper
        Put a curve before the lattice that undoes the neutral axis.
    fallback
        For colours that no input gives: ``"gamut"`` keeps luma and hue, ``"nearest"``
        takes the nearest colour.
    hold
        Hold the values to the domain of `lut`.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Inversion
        `lut`, the round trip's error in 10-bit codes, and shares of 0 to 1.

    Raises
    ------
    NotInvertibleError
        When the LUT gives one colour, or a plane of them.
    LutbenchError
        When the file cannot be read, or a value is out of range.
    """
    from lutbench.algebra.inversion import invert

    return invert(
        _as_lut(arguments.transform(lut, catalogue), size),
        _size(size),
        shaper=arguments.flag(shaper, "shaper"),
        fallback=one_of("fallback", fallback, ("gamut", "nearest")),  # type: ignore[arg-type]
        hold=arguments.flag(hold, "hold"),
        title=arguments.text(title, "title"),
    )


def resample(
    lut: LutLike, size: int, method: str = "best", *, catalogue: Catalogue | None = None
) -> Reworked:
    """A LUT at another size.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    size
        Nodes along an edge, 2 to 256; rows of a 1D LUT, 2 to 65536.
    method
        ``"best"`` (the one with the least error, measured), ``"linear"``, ``"pchip"``,
        ``"cubic"`` or ``"fit"``.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance to the one given in 10-bit codes.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or a value is out of range.
    """
    from lutbench.algebra.resampling import resample

    found = _as_lut(arguments.transform(lut, catalogue), None)
    limits = SIZES_1D if isinstance(found, Lut1D) else SIZES_3D
    return resample(
        found, arguments.whole(size, "size", *limits), arguments.text(method, "method").casefold()
    )


def blend(
    first: LutLike,
    second: LutLike,
    amount: float = 0.5,
    *,
    size: int | None = None,
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
    return blend(one, other, arguments.real(amount, "amount", -1, 3), _size(size))


@renamed(what="only")
def repair(
    lut: LutLike,
    only: Iterable[str] | None = None,
    *,
    most: float = MOST_MOVED,
    fade: float = FADE,
    catalogue: Catalogue | None = None,
) -> Reworked:
    """A LUT with what `inspect` finds in it mended.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    only
        The repairs to make, by name; those of what is found and cannot be meant, unless given.
    most
        The furthest that smoothing may move a value, in 10-bit codes (over 0, up to 1023).
    fade
        The input saturation (over 0, up to 2) at which changes of the neutral axis have faded
        out.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, its distance to the one given in 10-bit codes, and what was changed.

    Raises
    ------
    LutbenchError
        When the file cannot be read, a repair is not known, nothing can be mended, or a
        bound is out of range.
    """
    from lutbench.inspection.cures import Bounds, repair

    wanted = None if only is None else arguments.texts(only, "only")
    bounds = Bounds(given.real(most, "most"), given.real(fade, "fade"))
    return repair(_as_lut(arguments.transform(lut, catalogue), None), wanted, bounds=bounds)


def _size(size: Any) -> int | None:
    return None if size is None else arguments.whole(size, "size", *SIZES_1D)


def _as_lut(transform: Any, size: int | None) -> Lut:
    """A LUT as it is; another transform sampled."""
    if isinstance(transform, Lut1D | Lut3D | ShaperLut3D):
        return transform
    from lutbench.tables.nodes import sample

    return sample(transform, size if size is not None and size <= SIZES_3D[1] else 33)
