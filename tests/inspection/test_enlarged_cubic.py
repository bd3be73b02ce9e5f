"""Tables enlarged by scipy's cubic interpolations are named; sampled tables are not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from damage import CONVERSIONS, clean
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.ndimage import zoom

from lutbench.inspection.inspection import inspect
from lutbench.tables.lut import Lut3D

Make = Callable[[Any, Any], Any]


def spline(ends: str) -> Make:
    return lambda at, values: CubicSpline(at, values, bc_type=ends)


METHODS: dict[str, Make] = {
    "not-a-knot": spline("not-a-knot"),
    "natural": spline("natural"),
    "pchip": PchipInterpolator,
}


def enlarged(table: Any, size: int, make: Make) -> Any:
    for axis in range(3):
        moved = np.moveaxis(table, axis, 0)
        at = np.linspace(0, 1, len(moved))
        table = np.moveaxis(make(at, moved)(np.linspace(0, 1, size)), 0, axis)
    return np.round(np.clip(table, 0, 1), 6)


def said(table: Any) -> str:
    found = inspect(Lut3D(table)).findings
    return next((each.message for each in found if each.code == "enlarged"), "")


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("old", "new"), [(17, 33), (17, 65), (33, 65)])
def test_cubic_enlargement_is_named(method: str, old: int, new: int) -> None:
    table = enlarged(clean("log to display, shoulder", old).table, new, METHODS[method])
    assert f"from {old} nodes" in said(table)
    assert "cubic" in said(table)


def test_enlargement_as_a_picture_is_named() -> None:
    table = clean("log to display, shoulder", 17).table
    larger = zoom(table, (33 / 17,) * 3 + (1,), order=3, mode="mirror", grid_mode=False)
    assert "from 17 nodes" in said(np.round(np.clip(larger, table.min(), table.max()), 6))


@pytest.mark.parametrize("size", [17, 33])
@pytest.mark.parametrize("name", CONVERSIONS)
def test_sampled_tables_are_not(name: str, size: int) -> None:
    assert said(np.round(clean(name, size).table, 6)) == ""
