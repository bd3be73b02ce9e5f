"""A picture of the nodes of a learnt LUT that the stills support."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.pair import SUPPORT_PIXELS
from lutbench.report.drawing import PAPER, add_axes, new_figure, png

if TYPE_CHECKING:
    from lutbench.fitting.pair import PairFit

SLICES = 8
"""Number of slices of the 3D LUT that are drawn: two rows of four."""

TITLE: dict[str, Any] = {"fontsize": 9, "color": PAPER.faint}


def coverage_png(fit: PairFit) -> bytes:
    """Slices between the lowest and highest supported blue, and the neutral axis, as PNG bytes.

    A supported node is a square in the colour that the LUT gives; another is a small grey dot.
    On the neutral axis the curves are bold where they are supported.
    """
    figure = new_figure(11.0, 6.9)
    grid = figure.add_gridspec(3, SLICES // 2, height_ratios=(1, 1, 0.85))
    size = fit.lut.size
    supported = np.flatnonzero((fit.support >= SUPPORT_PIXELS).any(axis=(0, 1)))
    low, high = (supported[0], supported[-1]) if len(supported) else (0, size - 1)
    picked = np.unique(np.linspace(low, high, SLICES).round().astype(int))
    for number, blue in enumerate(picked):
        axes = add_axes(figure, grid[number // (SLICES // 2), number % (SLICES // 2)], PAPER)
        _slice(axes, fit, int(blue), first=number % (SLICES // 2) == 0)
    _neutral(add_axes(figure, grid[2, :], PAPER), fit)
    figure.suptitle(
        f"{100 * fit.coverage:.1f} % of the nodes are supported by {SUPPORT_PIXELS:g} pixels or"
        " more: squares, in the colour that the LUT gives. Grey dots are guesses.",
        fontsize=10,
        color=PAPER.ink,
        x=0.01,
        ha="left",
    )
    return png(figure, dpi=110)


def _slice(axes: Any, fit: PairFit, blue: int, *, first: bool) -> None:
    size = fit.lut.size
    red, green = np.meshgrid(np.arange(size), np.arange(size), indexing="ij")
    supported = fit.support[:, :, blue] >= SUPPORT_PIXELS
    level = 1.0 / (size - 1)
    axes.scatter(
        red[~supported] * level, green[~supported] * level, s=1.2, color=PAPER.line, linewidths=0
    )
    side = 95.0 / size  # points: neighbouring squares touch in a panel about 100 points wide
    colours: NDArray[Any] = np.clip(fit.lut.table[:, :, blue][supported], 0, 1)
    axes.scatter(
        red[supported] * level,
        green[supported] * level,
        s=side**2,
        marker="s",
        c=colours,
        edgecolors=PAPER.faint,
        linewidths=0.3,
    )
    axes.set_title(
        f"blue in {blue * level:.2f}: {supported.sum()} nodes", loc="left", pad=3, **TITLE
    )
    axes.set_aspect("equal")
    axes.set_xlim(-0.03, 1.03)
    axes.set_ylim(-0.03, 1.03)
    axes.set_xticks([0, 0.5, 1])
    axes.set_yticks([0, 0.5, 1])
    axes.grid(False)
    axes.set_xlabel("red in", labelpad=1)
    if first:
        axes.set_ylabel("green in")


def _neutral(axes: Any, fit: PairFit) -> None:
    size = fit.lut.size
    index = np.arange(size)
    levels = np.linspace(0, 1, size)
    curve = fit.lut.table[index, index, index]
    low, high = fit.neutral_covered
    inside = (levels >= low) & (levels <= high) & (high > low)
    for c, (name, dashes) in enumerate((("R", "-"), ("G", "--"), ("B", ":"))):
        axes.plot(levels, curve[:, c], color=PAPER.rgb[c], linewidth=0.8, linestyle=dashes)
        if inside.any():
            axes.plot(
                levels[inside],
                curve[inside, c],
                color=PAPER.rgb[c],
                linewidth=2.4,
                linestyle=dashes,
                label=name,
            )
    if inside.any():
        axes.axvspan(low, high, color=PAPER.line, alpha=0.35, linewidth=0)
        axes.legend(frameon=False, fontsize=8, loc="upper left", ncols=3)
    axes.set_title(
        f"neutral axis: supported from {low:.2f} to {high:.2f}"
        if inside.any()
        else "neutral axis: not supported",
        loc="left",
        pad=3,
        **TITLE,
    )
    axes.set_xlim(0, 1)
    axes.set_ylim(-0.03, 1.03)
    axes.set_xlabel("neutral in", labelpad=1)
    axes.set_ylabel("out")
