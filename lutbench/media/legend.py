"""The legend of a false-colour LUT, as a picture to keep beside the monitor."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from lutbench.files import replacing
from lutbench.model.curves.base import MID_GREY
from lutbench.model.false_colour import FalseColour

if TYPE_CHECKING:
    from matplotlib.patches import Rectangle


def write_legend(task: FalseColour, path: str | Path, title: str, *, force: bool = False) -> None:
    """Write a PNG that shows each band's colour, stops, signal level and label.

    Raises LutbenchError when the file exists and `force` is not set, or cannot be written.
    """
    from matplotlib.figure import Figure

    rows = sorted(task.bands, key=lambda band: band.high, reverse=True)
    figure = Figure(figsize=(7.2, 1.3 + 0.46 * len(rows)), dpi=150, facecolor="white")
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 7.2)
    axes.set_ylim(0, 1.3 + 0.46 * len(rows))
    top = 1.3 + 0.46 * len(rows)
    axes.text(0.3, top - 0.38, title, fontsize=12, weight="bold", va="center")
    ends = f"{task.curve.name}, {task.gamut.name}, {task.range} range"
    axes.text(0.3, top - 0.68, ends, fontsize=8.5, va="center", color="#444444")
    heads = ((1.15, "stops from mid grey"), (2.95, "log signal"), (4.15, "what it marks"))
    for x, text in heads:
        axes.text(x, top - 0.98, text, fontsize=8, va="center", color="#444444")
    for i, band in enumerate(rows):
        y = top - 1.32 - 0.46 * i
        axes.add_patch(_swatch(band.colour, y))
        axes.text(1.15, y, _stops(band.low, band.high), fontsize=10, va="center")
        axes.text(2.95, y, _levels(task, band.low, band.high), fontsize=10, va="center")
        axes.text(4.15, y, band.label, fontsize=10, va="center")
    with replacing(path, force=force) as temporary:
        # Without the software version, so that the same recipe gives the same bytes.
        figure.savefig(temporary, format="png", metadata={"Software": None})


def _swatch(colour: str, y: float) -> Rectangle:
    from matplotlib.patches import Rectangle

    return Rectangle((0.3, y - 0.17), 0.65, 0.34, facecolor=colour, edgecolor="#333333", lw=0.6)


def _stops(low: float, high: float) -> str:
    if math.isinf(low):
        return f"under {high:+.2f}"
    if math.isinf(high):
        return f"over {low:+.2f}"
    return f"{low:+.2f} to {high:+.2f}"


def _levels(task: FalseColour, low: float, high: float) -> str:
    def percent(stops: float) -> str:
        light = MID_GREY * 2.0 ** (stops - task.exposure)
        return f"{100 * float(task.curve.encode(light)):.0f}"

    if math.isinf(low):
        return f"under {percent(high)} %"
    if math.isinf(high):
        return f"over {percent(low)} %"
    return f"{percent(low)} to {percent(high)} %"
