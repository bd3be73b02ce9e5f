"""Curves and gamuts of colour-science's registries, at run time and under their own names."""

from __future__ import annotations

import numpy as np

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.curves.registered import curves_of
from lutbench.model.gamuts import Gamut
from lutbench.model.registered import registries
from lutbench.model.transforms import Array


def registry_curves(*, exact: bool = True) -> tuple[dict[str, Curve], dict[str, str]]:
    """Every registered log encoding and OETF; and, by name, why others are not usable.

    Exact curves import colour-science when they are first used; others are interpolated from
    samples, within 0.001 10-bit codes (`registered.LIMIT`).
    """
    return curves_of(registries(exact=exact))


def registry_gamuts() -> list[Gamut]:
    """Every RGB colour space of colour-science that is a valid gamut.

    Only its primaries and white are used: some of the registered matrices are rounded, and
    would not keep white exactly.
    """
    colour = registries()
    gamuts = []
    for name, space in colour.RGB_COLOURSPACES.items():
        red, green, blue = ((float(x), float(y)) for x, y in space.primaries)
        x, y = map(float, space.whitepoint)
        try:
            gamuts.append(Gamut(name, (red, green, blue), (x, y), "colour-science registry"))
        except DefinitionError:
            continue
    return gamuts


def published_matrices() -> dict[str, tuple[Array, Array]]:
    """The registered matrices of each RGB colour space: R G B to XYZ, and XYZ to R G B.

    Some are rounded to a few decimals, as published, and are not exactly each other's
    inverse; a LUT from elsewhere may have been made with them.
    """
    colour = registries()
    return {
        name: (
            np.asarray(space.matrix_RGB_to_XYZ, dtype=np.float64),
            np.asarray(space.matrix_XYZ_to_RGB, dtype=np.float64),
        )
        for name, space in colour.RGB_COLOURSPACES.items()
    }
