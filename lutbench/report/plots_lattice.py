"""Plots of the lattice: slices as colours, and a map of its steps and folds."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.inspection import Inspection
from lutbench.inspection.subject import CODES
from lutbench.report.drawing import THEMED, Palette, add_axes, new_figure

SLICES = 5
WIDE, TALL = 9.4, 2.25


def slices_plot(found: Inspection, palette: Palette = THEMED) -> Any:
    """Five slices of constant blue as the colours that come out."""
    table = _table(found)
    figure = new_figure(WIDE, TALL)
    grid = figure.add_gridspec(1, SLICES)
    for place, blue in enumerate(_blues(table.shape[0]), 1):
        axes = _slice_axes(figure, grid, place, blue, table.shape[0], palette)
        shown = np.clip(table[:, :, blue].transpose(1, 0, 2), 0, 1)
        axes.imshow(
            np.rint(255 * shown).astype(np.uint8), origin="lower", interpolation="none",
            extent=(0, 100, 0, 100),
        )  # fmt: skip
    return figure


def steps_plot(found: Inspection, palette: Palette = THEMED) -> Any:
    """The widest step to a neighbouring node, on the same slices, with folded cells marked."""
    from matplotlib.colors import PowerNorm

    table = _table(found)
    widest = steps_of(table)
    folds = found.health.folds
    figure = new_figure(WIDE, TALL + 0.1)
    grid = figure.add_gridspec(1, SLICES)
    top = max(float(np.percentile(widest, 99.5)), 1.0)
    image = None
    for place, blue in enumerate(_blues(table.shape[0]), 1):
        axes = _slice_axes(figure, grid, place, blue, table.shape[0], palette)
        layer = min(blue, widest.shape[2] - 1)
        image = axes.imshow(
            widest[:, :, layer].T, origin="lower", interpolation="none", cmap="cividis",
            norm=PowerNorm(0.5, vmin=0, vmax=top), extent=(0, 100, 0, 100),
        )  # fmt: skip
        if folds is not None and folds.cells.any():
            r, g = np.nonzero(folds.cells[:, :, layer])
            scale = 100 / folds.cells.shape[0]
            axes.plot(
                (r + 0.5) * scale, (g + 0.5) * scale, linestyle="none", marker="x", markersize=4,
                color=palette.mark,
            )  # fmt: skip
    bar = figure.colorbar(image, ax=figure.axes, fraction=0.02, pad=0.01)
    bar.set_label("10-bit codes", color=palette.faint, fontsize=8)
    bar.ax.tick_params(colors=palette.faint, labelsize=7)
    bar.outline.set_visible(False)
    return figure


def steps_of(table: NDArray[Any]) -> NDArray[np.float64]:
    """The widest change of any channel to the next node along r, g or b, in 10-bit codes.

    Shape (n − 1, n − 1, n − 1) of a table of shape (n, n, n, 3).
    """
    m = table.shape[0] - 1
    cut = (slice(0, m),) * 3
    return np.asarray(
        np.maximum.reduce(
            [np.abs(np.diff(table, axis=axis))[cut].max(axis=-1) for axis in range(3)]
        )
        * CODES
    )


def _table(found: Inspection) -> NDArray[np.float64]:
    assert found.subject.lattice is not None
    return np.asarray(found.subject.lattice.table, dtype=np.float64)


def _blues(size: int) -> list[int]:
    """The nodes of the slices: from no blue to all of it."""
    count = min(SLICES, size)
    return sorted({int(each) for each in np.linspace(0, size - 1, count).round()})


def _slice_axes(figure: Any, grid: Any, place: int, blue: int, size: int, palette: Palette) -> Any:
    axes = add_axes(figure, grid[0, place - 1])
    axes.grid(False)
    axes.set_title(f"blue {100 * blue / (size - 1):.0f} %", fontsize=8.5, color=palette.ink)
    axes.set_xticks([0, 50, 100])
    axes.set_yticks([0, 50, 100] if place == 1 else [])
    axes.set_xlabel("red in, %")
    if place == 1:
        axes.set_ylabel("green in, %")
    return axes
