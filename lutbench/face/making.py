"""Functions that make or apply a LUT: `build`, `sample`, `apply`."""

from __future__ import annotations

from typing import Any, Unpack

from numpy.typing import ArrayLike, NDArray

from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.model.catalogue import Catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.model.transforms import Interpolation
from lutbench.recipes.settings import Choices, setting_named
from lutbench.tables.lut import SIZES_1D, SIZES_3D, UNIT_DOMAIN, USUAL_SIZE, Lut, Lut3D


def build(
    source_curve: Curve | str,
    target_curve: Curve | str = "",
    *,
    catalogue: Catalogue | None = None,
    **settings: Unpack[Choices],
) -> Lut:
    """A LUT from names: curves and gamuts of the catalogue.

    Parameters
    ----------
    source_curve, target_curve
        Names of the catalogue, or curves; or all in words as the only argument:
        "ACEScct, ACEScg to BT.1886, BT.709". A ``gamut`` LUT needs no target curve.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Other Parameters
    ----------------
    source_gamut, target_gamut : str
        Names of the catalogue. A ``curve`` LUT needs none.
    kind : str
        ``combined`` (the default), ``curve`` or ``gamut``.
    size : int
        Nodes along an edge, 2 to 256 (33); of a 1D LUT rows, 2 to 65536 (1024).
    exposure : float
        Exposure in stops, applied to scene light.
    tone : str
        ``clip`` (the default), or the name of a tone mapper such as ``shoulder``: highlights
        roll off instead of clipping. Settings may follow: "shoulder contrast=1.2 on=largest".
    gamut : str
        ``clip`` (the default); ``compress``: colours outside the target gamut are moved
        inside; or ``map``: they are moved inside at constant hue. Settings may follow:
        "map knee=0.7".
    adaptation : str
        The chromatic adaptation between white points: ``bradford`` (the default; ``none`` to
        and from XYZ), ``cat02``, ``cat16``, ``none``.
    source_range, target_range : str
        Whether the LUT's values are ``full``-range or ``legal``-range codes (in the 10-bit
        layout); as the curve's codes are published, unless given.
    source_display_peak, target_display_peak : float
        The peak, in cd/m², of the display that the source or the result is viewed on.
    measured_display : str
        A CSV file of meter readings of the display that the LUT is loaded into, as for
        ``lutbench display``: the output is calibrated for that display.
    dimensions : int
        3 (the default); or 1, for a ``curve`` LUT.
    title : str
        The title in the file; what the LUT does unless given.

    Returns
    -------
    Lut
        A `Lut3D`, or a `Lut1D` of one dimension.

    Raises
    ------
    LutbenchError
        When a name is not known (the nearest ones are listed), or a value is out of range.

    >>> build("ACEScct, ACEScg to BT.1886, BT.709", size=17)
    Lut3D(size=17, title='ACEScct to BT.1886, ACES AP1 to BT.709')
    """
    from lutbench.recipes.make import build
    from lutbench.recipes.subjects import quick_settings

    known = arguments.known(catalogue)
    for key, value in settings.items():
        setting_named(key)
        if key in ("size", "dimensions"):
            value = arguments.whole(value, key, 1, SIZES_1D[1])
        elif key in ("exposure", "source_display_peak", "target_display_peak"):
            value = arguments.real(value, key)
        elif key in ("source_gamut", "target_gamut"):
            name = arguments.name_of(value, Gamut, key)
            value = known.gamut(name, key) if name else ""
        else:
            arguments.text(value, key)
        settings[key] = value  # type: ignore[literal-required]
    source_curve = arguments.name_of(source_curve, Curve, "source_curve")
    target_curve = arguments.name_of(target_curve, Curve, "target_curve")
    alone = source_curve if isinstance(source_curve, str) and target_curve == "" else ""
    if " to " in alone or "," in alone:
        whole: Any = {**quick_settings(alone), **settings}
    else:
        whole = {"source_curve": source_curve, "target_curve": target_curve, **settings}
    return build(**whole, catalogue=known)


def sample(
    transform: LutLike,
    size: int = USUAL_SIZE,
    *,
    domain: ArrayLike = UNIT_DOMAIN,
    title: str = "",
    interpolation: Interpolation = "tetrahedral",
    catalogue: Catalogue | None = None,
) -> Lut3D:
    """A transform at the nodes of a lattice, as a 3D LUT.

    Parameters
    ----------
    transform
        A transform, a LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709".
    size
        Nodes along an edge, 2 to 256.
    domain
        Smallest and largest input: shape (2,), or (2, 3) for each channel.
    title
        The title of the LUT.
    interpolation
        ``"tetrahedral"`` or ``"trilinear"``.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Lut3D
        Exact at its nodes.

    Raises
    ------
    LutbenchError
        When a name is not known, or a number is out of range.

    >>> sample("ACEScct to BT.1886; kind=curve", 5).shape
    (5, 5, 5, 3)
    """
    from lutbench.tables.nodes import sample

    bounds = Lut3D.identity(2).with_domain(domain).domain
    return sample(
        arguments.transform(transform, catalogue, "transform"),
        arguments.whole(size, "size", *SIZES_3D),
        domain=bounds,
        title=arguments.text(title, "title"),
        interpolation=interpolation,
    )


def apply(
    lut: LutLike,
    rgb: ArrayLike,
    *,
    interpolation: Interpolation | None = None,
    out: NDArray[Any] | None = None,
    threads: int | None = None,
    catalogue: Catalogue | None = None,
) -> NDArray[Any]:
    """Pixels through a LUT.

    Parameters
    ----------
    lut
        A LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709".
    rgb
        Shape (..., 3), R G B last; uint8 and uint16 are full-range codes, floats are signal.
    interpolation
        ``"tetrahedral"`` or ``"trilinear"``; None: as the LUT states.
    out
        The array for the result, of the shape and type of `rgb`.
    threads
        The largest number of threads to use.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    ndarray
        `out`, or a new array; uint8, uint16, float16 and float32 keep their type, all other
        types give float64.

    Raises
    ------
    LutbenchError
        When the LUT cannot be read, or `rgb` or `out` is not such an array.

    >>> apply("ACEScct to BT.1886; kind=curve", [0.413588, 0.413588, 0.413588]).round(3).tolist()
    [0.489, 0.489, 0.489]
    """
    found = arguments.transform(lut, catalogue)
    return found.apply(rgb, interpolation, out=out, threads=threads)
