"""Convert LUTs to and from the objects of other libraries."""

from __future__ import annotations

from typing import Any

import numpy as np

from lutbench.errors import LutbenchError, MissingExtraError
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.foreign import foreign
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D


def to_colour(lut: LutLike) -> Any:
    """A LUT as one of colour-science's classes.

    Parameters
    ----------
    lut
        A `Lut1D` or a `Lut3D`, a path, or words.

    Returns
    -------
    colour.LUT3x1D or colour.LUT3D
        With the same table, domain and title.

    Raises
    ------
    LutbenchError
        For a shaper with a 3D LUT, which is two objects there.
    """
    colour = foreign("colour")
    lut = arguments.transform(lut)
    if isinstance(lut, Lut1D):
        return colour.LUT3x1D(np.array(lut.table), lut.title or "LUT", np.array(lut.domain))
    if isinstance(lut, Lut3D):
        return colour.LUT3D(np.array(lut.table), lut.title or "LUT", np.array(lut.domain))
    if isinstance(lut, ShaperLut3D):
        raise LutbenchError(
            "a shaper with a 3D LUT is two LUTs in colour-science", accepted="lut.shaper, lut.lut"
        )
    raise LutbenchError(f"{lut!r:.60} is not a LUT", accepted="Lut1D, Lut3D")


def from_colour(lut: Any) -> Lut:
    """A LUT of colour-science as a `Lut1D` or `Lut3D`.

    Parameters
    ----------
    lut
        A ``colour.LUT1D``, ``LUT3x1D`` or ``LUT3D`` with equally spaced inputs.

    Returns
    -------
    Lut1D or Lut3D
        With the same table, domain and name.

    Raises
    ------
    LutbenchError
        When it is none of them, or its inputs are not equally spaced.
    """
    table, domain = getattr(lut, "table", None), getattr(lut, "domain", None)
    if table is None or domain is None:
        raise LutbenchError(f"{lut!r:.60} is not a LUT", accepted="colour.LUT1D, LUT3x1D, LUT3D")
    table, domain = np.asarray(table, np.float64), np.asarray(domain, np.float64)
    if domain.shape not in ((2,), (2, 3)):
        raise LutbenchError(
            "the inputs are not equally spaced", accepted="a domain of two ends for each channel"
        )
    title = str(getattr(lut, "name", ""))
    if title.isdecimal():  # its address, which colour-science gives a LUT without a name
        title = ""
    if table.ndim == 4:
        return Lut3D(table, domain, title)
    rows = np.repeat(table[:, None], 3, axis=1) if table.ndim == 1 else table
    return Lut1D(rows, domain, title)


def to_pillow(lut: LutLike) -> Any:
    """A 3D LUT as a filter of Pillow, for 8-bit pictures.

    Parameters
    ----------
    lut
        A `Lut3D` over 0..1 of at most 65 nodes along an edge, a path, or words. Pillow
        interpolates trilinearly.

    Returns
    -------
    PIL.ImageFilter.Color3DLUT
        For ``image.filter(...)``.

    Raises
    ------
    LutbenchError
        When it is another LUT, or Pillow is not installed.
    """
    try:
        from PIL.ImageFilter import Color3DLUT
    except ImportError:
        raise MissingExtraError("pillow", "test", "a filter of Pillow") from None
    lut = arguments.transform(lut)
    if not isinstance(lut, Lut3D) or lut.size > 65 or not np.array_equal(lut.domain, UNIT_DOMAIN):
        raise LutbenchError(
            f"{lut!r:.60} cannot be a filter of Pillow",
            accepted="a Lut3D over 0..1, up to 65 nodes",
        )
    rows = lut.table.transpose(2, 1, 0, 3).reshape(-1, 3)
    return Color3DLUT(lut.size, rows.ravel().tolist())
