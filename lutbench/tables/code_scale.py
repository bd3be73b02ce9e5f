"""Recognise tables and domains in code values instead of signals from 0 to 1."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError
from lutbench.model.transforms import Transform
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

TOPS = {255: 8, 1023: 10, 4095: 12, 65535: 16}
"""From the highest code value of a full-range signal to its bit depth."""

NEAR_TOP = 0.002
"""Share of the highest code by which a table with decimals may differ from it, by rounding."""

INTEGER = 1e-6
"""Largest difference from a whole number at which a value counts as one."""


def code_scale(planes: NDArray[Any]) -> int | None:
    """The highest code of the scale of a table's values; None if they are signals.

    Whole numbers above 2 are codes. With decimals, the greatest value has to be the highest
    code of a scale, since scene-linear tables have high values too.

    >>> code_scale(np.array([0.0, 512.0, 940.0])), code_scale(np.array([0.0, 0.5, 1.0]))
    (1023, None)
    """
    most = float(planes.max())
    if most <= 2:
        return None
    top = next((each for each in TOPS if most <= each * (1 + NEAR_TOP)), None)
    if top is None:
        return None
    whole = float(np.abs(planes - np.rint(planes)).max()) <= INTEGER
    return top if whole or most >= top * (1 - NEAR_TOP) else None


def domain_scale(domain: NDArray[Any]) -> int | None:
    """The highest code of the scale of a domain; None if it is not in codes.

    >>> domain_scale(np.array([[0.0, 0, 0], [1023.0, 1023, 1023]]))
    1023
    """
    low, high = domain
    if not (low == low[0]).all() or not (high == high[0]).all() or low[0] < 0 or low[0] > 64:
        return None
    return int(high[0]) if high[0] in TOPS else None


def refuse_code_values(transform: Transform, where: str) -> None:
    """Refuse a LUT whose table or domain is in code values, which would give white or black.

    `where` names the file in the error.

    Raises FormatError when it is.
    """
    if not isinstance(transform, Lut1D | Lut3D | ShaperLut3D):
        return
    last = transform.lut if isinstance(transform, ShaperLut3D) else transform
    accepted = "signals from 0 to 1; `lutbench rework repair` converts it"
    if (top := code_scale(np.moveaxis(last.table, -1, 0))) is not None:
        what = f"the table holds {TOPS[top]}-bit code values: every pixel would come out white"
        raise FormatError(what, where=where, accepted=accepted)
    if (top := domain_scale(transform.domain)) is not None:
        what = f"the domain is in {TOPS[top]}-bit code values: every pixel would come out black"
        raise FormatError(what, where=where, accepted=accepted)
