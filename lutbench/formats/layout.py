"""The lines of size and domain of a ``.cube`` file, and its tables row by row."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D

_DOMAIN_KEYWORDS = ("DOMAIN_MIN", "DOMAIN_MAX")


def layout(lut: Lut) -> tuple[list[str], list[NDArray[Any]]]:
    """The lines of size and domain of a ``.cube`` file, and its tables row by row.

    Sizes come first: some readers look at a domain only after the size.
    """
    if isinstance(lut, ShaperLut3D):
        lines = [f"LUT_1D_SIZE {lut.shaper.size}", f"LUT_3D_SIZE {lut.lut.size}"]
        lines += [_range_line("LUT_1D_INPUT_RANGE", lut.shaper.domain)]
        lines += [_range_line("LUT_3D_INPUT_RANGE", lut.lut.domain)]
        return lines, [lut.shaper.table, _red_fastest(lut.lut.table)]
    if isinstance(lut, Lut1D):
        return [f"LUT_1D_SIZE {lut.size}", *_domain_lines(lut.domain)], [lut.table]
    if isinstance(lut, Lut3D):
        return [f"LUT_3D_SIZE {lut.size}", *_domain_lines(lut.domain)], [_red_fastest(lut.table)]
    raise FormatError(f"{lut!r} is no LUT", accepted="a 1D, 3D or shaper-plus-3D LUT")


def _red_fastest(table: NDArray[Any]) -> NDArray[Any]:
    return table.transpose(2, 1, 0, 3).reshape(-1, 3)


def _domain_lines(domain: NDArray[np.float64]) -> list[str]:
    if np.array_equal(domain, UNIT_DOMAIN):
        return []
    return [
        f"{keyword} {' '.join(map(_plain_number, row))}"
        for keyword, row in zip(_DOMAIN_KEYWORDS, domain.tolist(), strict=True)
    ]


def _range_line(keyword: str, domain: NDArray[np.float64]) -> str:
    if not (domain == domain[:, :1]).all():
        raise FormatError(
            "a shaper with a 3D LUT has one input range for all channels in a .cube file",
            accepted="domains that are alike in all channels",
        )
    return f"{keyword} {_plain_number(domain[0, 0])} {_plain_number(domain[1, 0])}"


def _plain_number(value: float) -> str:
    """The shortest decimal that reads back as `value`, without exponent, with a point."""
    return np.format_float_positional(value, trim="0")
