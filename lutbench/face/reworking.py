"""Functions that make LUTs from LUTs: `chain`, `invert`, `resample`, `repair` and others."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from numpy.typing import ArrayLike

from lutbench.algebra.repairing import FADE, MOST_MOVED_CODES
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.face.made import as_lut, size_of, titled
from lutbench.given import one_of
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
    """One LUT that does what several do one after the other.

    Parameters
    ----------
    luts
        LUTs, paths, or words, the first to be applied first.
    size
        Size of the result; the largest in the chain unless given.
    shaper
        Keep a curve that comes first as a shaper in front of the 3D LUT.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance from the exact chain in 10-bit codes.

    Raises
    ------
    LutbenchError
        When no LUT is given, or a file cannot be read.
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
    """The inverse of a LUT, and the share of its colours that cannot be inverted.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    size
        Size of the result; that of the LUT unless given.
    shaper
        Put a shaper in front of the 3D LUT that inverts the neutral axis. It is more exact
        where the LUT bends strongly, for example from a display encoding back to log.
    fallback
        What to do with colours that the LUT never gives: ``"gamut"`` keeps luma and hue and
        gives up saturation first, ``"nearest"`` takes the nearest colour that it gives.
    hold
        Clip the result to the domain of `lut`, for devices that take only 0..1. It costs
        precision at the edge of the reached colours; the error says how much.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Inversion
        `lut`, the error of the round trip in 10-bit codes, and shares from 0 to 1.

    Raises
    ------
    NotInvertibleError
        When the LUT gives only one colour, or only colours in one plane.
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
    """A LUT resampled to another size.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    size
        Nodes along an edge, 2 to 256; rows of a 1D LUT, 2 to 65536.
    method
        ``"linear"``: the LUT's own interpolation. ``"pchip"``: cubic without overshoot.
        ``"cubic"``: cubic spline, the smoothest. ``"fit"``: the nodes whose interpolation is
        nearest to the LUT in the least-squares sense (for smaller sizes). ``"best"``: the one
        of these with the smallest measured error.
    title
        The title of the result; that of the LUT unless given.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance from the LUT given, in 10-bit codes.

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
    """The neutral axis of a LUT, as a 1D LUT.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    size
        Number of rows, 2 to 65536.
    grey
        Give all channels one curve, the mean of the three.
    title
        The title of the result.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, a `Lut1D`, and its error between rows, in 10-bit codes.

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
    """A LUT for another signal range, or over another domain.

    Values before and after are full-scale code values, as a monitor that does not scale
    legal range sends them to its LUT.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    source_range, target_range
        ``full`` or ``legal``: the range of the result's input and output; unchanged unless
        given.
    given_source_range, given_target_range
        The range of the given LUT's input and output.
    bits
        The bit depth whose legal black and white codes are used: 8, 10, 12 or 16.
    domain
        The inputs of the first and last node of the result: shape (2,), or (2, 3) for each
        channel.
    size
        Size of the result; that of the LUT unless given.
    title
        The title of the result; that of the LUT unless given.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, and its distance from the exact transform in 10-bit codes.

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


def repair(
    lut: LutLike,
    only: Iterable[str] | None = None,
    *,
    most: float = MOST_MOVED_CODES,
    fade: float = FADE,
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Reworked:
    """A LUT with what `inspect` finds repaired.

    Parameters
    ----------
    lut
        A LUT, a path, or words.
    only
        The repairs to make, by name; unless given, those for findings that cannot be intended.
    most
        The most that smoothing may move a value, in 10-bit codes: over 0, up to 1023.
    fade
        Saturation at which a change of the neutral axis has faded to nothing: over 0, up to 2.
    title
        The title of the result; that of the LUT unless given.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Reworked
        `lut`, its distance from the LUT given in 10-bit codes, and what was changed.

    Raises
    ------
    LutbenchError
        When the file cannot be read, a repair is not known, no fault that was found can be
        repaired, or a bound is out of range.
    """
    from lutbench.inspection.cures import Bounds, refuse_uncured, repair

    wanted = None if only is None else arguments.texts(only, "only")
    bounds = Bounds(arguments.real(most, "most"), arguments.real(fade, "fade"))
    found = as_lut(arguments.transform(lut, catalogue), None)
    made = repair(found, wanted, bounds=bounds)
    refuse_uncured(made.changes)
    return titled(made, title)
