"""Functions that make LUTs of LUTs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from numpy.typing import ArrayLike

from lutbench.algebra.repairing import FADE, MOST_MOVED
from lutbench.errors import one_of
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.face.made import as_lut, size_of, titled
from lutbench.face.renaming import renamed
from lutbench.model.catalogue import Catalogue
from lutbench.model.signal import Range
from lutbench.tables.lut import SIZES_1D, SIZES_3D, Lut1D

if TYPE_CHECKING:
    from lutbench.algebra.result import Inversion, Reworked


def chain(
    *luts: LutLike,
    size: int | None = None,
    shaper: bool = True,
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
    shaper
        Whether a curve that comes first stays a shaper.
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
    flag = arguments.flag(shaper, "shaper")
    return chain(steps, size_of(size), shaper=flag, title=arguments.text(title, "title"))


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
        as_lut(arguments.transform(lut, catalogue), size),
        size_of(size),
        shaper=arguments.flag(shaper, "shaper"),
        fallback=one_of("fallback", fallback, ("gamut", "nearest")),  # type: ignore[arg-type]
        hold=arguments.flag(hold, "hold"),
        title=arguments.text(title, "title"),
    )


def resample(
    lut: LutLike,
    size: int,
    method: str = "best",
    *,
    title: str = "",
    catalogue: Catalogue | None = None,
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
    title
        The title of the result; as the LUT's unless given.
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

    found = as_lut(arguments.transform(lut, catalogue), None)
    limits = SIZES_1D if isinstance(found, Lut1D) else SIZES_3D
    method = arguments.text(method, "method").casefold()
    return titled(resample(found, arguments.whole(size, "size", *limits), method), title)


def neutral(
    lut: LutLike,
    *,
    size: int = 4096,
    grey: bool = False,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """The 1D LUT that a LUT draws on its neutral axis.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    size
        Rows, 2 to 65536.
    grey
        One curve for all channels: the mean of the three.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, a `Lut1D`, and how far it is between its rows, in 10-bit codes.

    Raises
    ------
    LutbenchError
        When a file cannot be read, or a value is out of range.
    """
    from lutbench.algebra.neutral import neutral_curve

    flag, rows = arguments.flag(grey, "grey"), arguments.whole(size, "size", *SIZES_1D)
    return titled(neutral_curve(arguments.transform(lut, catalogue), rows, grey=flag), title)


def change_range(
    lut: LutLike,
    *,
    source_range: Range | None = None,
    target_range: Range | None = None,
    given_source_range: Range = "full",
    given_target_range: Range = "full",
    bits: int = 10,
    domain: ArrayLike | None = None,
    size: int | None = None,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """A LUT for signals of another range, or over another domain.

    Values are full-scale code values before and after: what a monitor feeds a LUT with that
    does not scale legal range.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    source_range, target_range
        ``full`` or ``legal``: what the result is to take and give; as it is unless given.
    given_source_range, given_target_range
        What the LUT takes and gives now.
    bits
        The depth whose black and white codes are meant: 8, 10, 12 or 16.
    domain
        The inputs of the first and last node of the result: (2,), or (2, 3) for each channel.
    size
        Of the result; as the LUT's unless given.
    title
        The title of the result; as the LUT's unless given.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance to what it stands for in 10-bit codes.

    Raises
    ------
    LutbenchError
        When a file cannot be read, or a value is out of range.

    >>> made = change_range("linear to gamma 2.4; kind=curve; size=17", target_range="legal")
    >>> (made.lut.apply([0.0, 1.0, 1.0]) * 1023).round(9).tolist()
    [64.0, 940.0, 940.0]
    """
    from lutbench.algebra.ranges import with_ranges
    from lutbench.model.signal import RangeChange, range_of

    range_of(bits, "full")
    ranges = RangeChange(given_source_range, given_target_range, source_range, target_range, bits)
    found = as_lut(arguments.transform(lut, catalogue), size)
    return titled(with_ranges(found, ranges, domain, size_of(size)), title)


@renamed(what="only")
def repair(
    lut: LutLike,
    only: Iterable[str] | None = None,
    *,
    most: float = MOST_MOVED,
    fade: float = FADE,
    title: str = "",
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
        The furthest that smoothing may move a value, over 0 to 1023, in 10-bit codes.
    fade
        Saturation at which a change of the neutral axis has faded out, over 0, up to 2.
    title
        The title of the result; as the LUT's unless given.
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
    bounds = Bounds(arguments.real(most, "most"), arguments.real(fade, "fade"))
    found = as_lut(arguments.transform(lut, catalogue), None)
    return titled(repair(found, wanted, bounds=bounds), title)
