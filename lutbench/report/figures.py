"""A drawing on a page with its words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from lutbench.report.drawing import svg


@dataclass(frozen=True)
class Figure:
    """A drawing with its caption and its text alternative; `html` is safe HTML."""

    html: str
    caption: str
    wide: bool = False


def figure(
    key: str, draw: Callable[[], Any], caption: str, alternative: str, wide: bool = False
) -> Figure:
    """The figure that `draw` makes; `key` is its own on the page."""
    return Figure(svg(draw(), key, alternative), caption, wide)
