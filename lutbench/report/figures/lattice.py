"""The lattice itself: slices of its colours, and where it steps or folds."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Array
from lutbench.report.drawing import THEMED, add_axes, new_figure
from lutbench.report.figures.base import Figure, finished
from lutbench.tables.lut import Lut3D, ShaperLut3D

FRACTIONS = (0.0, 0.25, 0.5, 0.75, 1.0)


def slices_figure(lut: Lut3D | ShaperLut3D) -> Figure:
    """Five slices of the lattice at constant blue, as the colours that come out."""
    drawing = new_figure(8.4, 2.3)
    for index, plane in enumerate(_planes(lut)):
        axes = add_axes(drawing, 151 + index)
        colours = np.clip(lut.table[:, :, plane], 0, 1).transpose(1, 0, 2)
        axes.imshow(colours, origin="lower", extent=(0, 100, 0, 100), interpolation="nearest")
        _frame(axes, index, lut, plane)
    return finished(
        drawing,
        "slices",
        "Slices of the lattice",
        "Five slices at constant blue input, red across and green up, as output colours.",
        "Each square is a slice at one blue input; red runs across, green up, in % of the domain. "
        "Colours are the raw output values.",
    )


def local_steps(table: Array) -> Array:
    """The longest step from a node to its neighbours, in units of an even step, (n, n, n).

    An identity LUT gives 1 everywhere.
    """
    size = table.shape[0]
    longest = np.zeros(table.shape[:3])
    for axis in range(3):
        step = np.abs(np.diff(table, axis=axis)).max(axis=-1) * (size - 1)
        first, last = [slice(None)] * 3, [slice(None)] * 3
        first[axis], last[axis] = slice(0, -1), slice(1, None)
        for part in (tuple(first), tuple(last)):
            longest[part] = np.maximum(longest[part], step)
    return longest


def steps_figure(lut: Lut3D | ShaperLut3D, folds: NDArray[np.bool_]) -> Figure:
    """The longest local step on the slices of `slices_figure`, folds marked.

    `folds` says of each node, shape (n, n, n), whether the lattice turns over there.
    """
    steps = local_steps(lut.table)
    top = max(4.0, float(np.percentile(steps, 99.5)))
    drawing = new_figure(8.4, 2.5)
    picture = None
    last = None
    for index, plane in enumerate(_planes(lut)):
        axes = add_axes(drawing, 151 + index)
        picture = axes.imshow(
            steps[:, :, plane].T,
            origin="lower",
            extent=(0, 100, 0, 100),
            cmap="cividis",
            vmin=0,
            vmax=top,
            interpolation="nearest",
        )
        red, green = np.nonzero(folds[:, :, plane])
        size = lut.size
        axes.plot(
            100 * (red + 0.5) / size,
            100 * (green + 0.5) / size,
            "x",
            color="#D55E00",
            markersize=3,
        )
        _frame(axes, index, lut, plane)
        last = axes
    bar = drawing.colorbar(picture, ax=last, fraction=0.08, pad=0.04)
    bar.ax.tick_params(labelsize=7, colors=THEMED.faint)
    bar.outline.set_visible(False)
    share = 100 * float(folds.mean())
    where = f"{share:.2f} % of the nodes fold" if folds.any() else "no node folds"
    return finished(
        drawing,
        "steps",
        "Steps and folds",
        f"The longest step between neighbours on five slices; {where}.",
        "1 is the step of an identity LUT; bright places stretch colours and can band. "
        f"Crosses: the lattice turns over ({where}).",
    )


def _planes(lut: Lut3D | ShaperLut3D) -> list[int]:
    return [round(fraction * (lut.size - 1)) for fraction in FRACTIONS]


def _frame(axes: Any, index: int, lut: Lut3D | ShaperLut3D, plane: int) -> None:
    axes.grid(False)
    share = 100 * plane / (lut.size - 1)
    axes.set_title(f"blue {share:.0f} %", fontsize=8, color=THEMED.faint)
    axes.set_xticks([0, 50, 100])
    axes.set_yticks([0, 50, 100] if index == 0 else [])
