"""What every figure of a report is, and what figures share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lutbench.analysis.view import View, view_of
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709
from lutbench.model.transforms import Array
from lutbench.report.drawing import svg
from lutbench.tables.lut import Lut

MARKED_REFLECTANCES = (0.0, 0.18, 0.36, 0.9, 1.0)


@dataclass(frozen=True)
class Figure:
    """A figure as inline SVG, with what it is called, what it shows, and how to read it."""

    title: str
    svg: str
    alt: str
    caption: str


def finished(drawing: Any, key: str, title: str, alt: str, caption: str) -> Figure:
    """The drawn figure as a `Figure`; `key` is its own on the page."""
    return Figure(title, svg(drawing, key, alt), alt, caption)


def assumed_target(target: Encoding | None) -> Encoding:
    """The target, or BT.709 for a BT.1886 display, which most monitors show."""
    return target or Encoding(Bt1886(), BT709)


def view_for(target: Encoding | None) -> View:
    """How the LUT's output is seen."""
    return view_of(assumed_target(target))


def neutral_inputs(lut: Lut, count: int = 1025) -> Array:
    """Neutral input values over the LUT's domain, shape (count, 3)."""
    return np.linspace(lut.domain[0], lut.domain[1], count)
