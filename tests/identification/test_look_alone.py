"""A look on one encoding is never said to change nothing: looks by HSV of the standard library."""

from __future__ import annotations

import colorsys

import numpy as np
import pytest

import lutbench
from lutbench.tables.lut import Lut3D


def in_hsv(saturation: float, turn: float) -> Lut3D:
    """Saturation and hue changed in HSV, by `colorsys`."""
    nodes = Lut3D.identity(9).table.reshape(-1, 3)
    rows = []
    for node in nodes.tolist():
        hue, sat, value = colorsys.rgb_to_hsv(*node)
        rows.append(colorsys.hsv_to_rgb((hue + turn) % 1, min(sat * saturation, 1), value))
    return Lut3D(np.reshape(rows, (9, 9, 9, 3)))


@pytest.mark.parametrize(("saturation", "turn"), [(0.5, 0.0), (0.8, 0.02), (1.0, 0.05)])
@pytest.mark.slow
def test_a_look_on_one_encoding_is_named(saturation: float, turn: float) -> None:
    found = lutbench.identify(in_hsv(saturation, turn))
    assert found.look.present
    assert "hanges nothing" not in found.explanation


def test_nothing_is_still_called_nothing() -> None:
    assert "Changes nothing" in lutbench.identify(Lut3D.identity(9)).explanation
