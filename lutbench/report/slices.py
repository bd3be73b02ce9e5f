"""Five slices of a 3D LUT at rising blue, in two rows that a phone can show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from lutbench.report.drawing import THEMED, add_axes, new_figure
from lutbench.report.plots import HEIGHT_INCHES, WIDTH_INCHES

SLICES = 5
"""Number of slices in a figure: both ends of blue, the middle, and one between each."""

COLUMNS = 3
"""Number of slices side by side: as many as a phone can show."""


class Sliced:
    """A figure with axes for each slice of constant blue.

    Parameters
    ----------
    blues
        The blue of each slice, in percent of the signal.
    extent
        The smallest and largest red and green, in percent.
    """

    def __init__(self, blues: Sequence[float], extent: tuple[float, float] = (0.0, 100.0)) -> None:
        self.figure = new_figure(WIDTH_INCHES, HEIGHT_INCHES)
        self.extent = extent
        self._blues = blues
        self._rows = -(-len(blues) // COLUMNS)
        self._grid = self.figure.add_gridspec(self._rows, COLUMNS)

    def __iter__(self) -> Iterator[Any]:
        """The axes of each slice."""
        ticks = np.linspace(*self.extent, 3)
        for number, blue in enumerate(self._blues):
            row, column = divmod(number, COLUMNS)
            axes = add_axes(self.figure, self._grid[row, column])
            axes.grid(False)
            axes.set_aspect("equal", adjustable="box")
            axes.set_title(f"blue {blue:.0f} %", fontsize=8.5, color=THEMED.ink)
            lowest = number + COLUMNS >= len(self._blues)
            axes.set_xticks(ticks, [f"{tick:.0f}" for tick in ticks] if lowest else [""] * 3)
            axes.set_yticks(ticks, [f"{tick:.0f}" for tick in ticks] if not column else [""] * 3)
            if lowest:
                axes.set_xlabel("red in, %")
            if column == 0:
                axes.set_ylabel("green in, %")
            yield axes

    def bar(self, image: Any, label: str, **options: Any) -> None:
        """Add a colour scale for `image` beside the slices."""
        bar = self.figure.colorbar(image, ax=self.figure.axes, fraction=0.04, pad=0.02, **options)
        bar.set_label(label, color=THEMED.faint, fontsize=8)
        bar.ax.tick_params(colors=THEMED.faint, labelsize=7)
        bar.outline.set_visible(False)


def slice_nodes(size: int) -> list[int]:
    """The blue nodes of the slices, evenly spaced from the first to the last.

    >>> slice_nodes(33), slice_nodes(3)
    ([0, 8, 16, 24, 32], [0, 1, 2])
    """
    count = min(SLICES, size)
    return sorted({int(each) for each in np.linspace(0, size - 1, count).round()})
