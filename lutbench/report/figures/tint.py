"""Neutral tint: how far each channel leaves grey on the neutral axis."""

from __future__ import annotations

import numpy as np

from lutbench.report.drawing import THEMED, add_axes, new_figure
from lutbench.report.figures.base import Figure, finished, neutral_inputs
from lutbench.report.figures.tone import STYLES
from lutbench.tables.lut import Lut


def tint_figure(lut: Lut) -> Figure:
    """Each channel minus the mean of the three, in 10-bit codes, over the neutral input."""
    inputs = neutral_inputs(lut)
    outputs = 1023 * np.asarray(lut.apply(inputs), dtype=np.float64)
    tint = outputs - outputs.mean(axis=1, keepdims=True)
    drawing = new_figure(4.6, 2.6)
    axes = add_axes(drawing)
    for channel, (colour, name) in enumerate(
        zip(THEMED.rgb, ("red", "green", "blue"), strict=True)
    ):
        axes.plot(
            100 * inputs[:, channel],
            tint[:, channel],
            color=colour,
            linestyle=STYLES[channel],
            linewidth=1.5,
            label=name,
        )
    reach = max(2.0, 1.15 * float(np.abs(tint).max()))
    axes.set_ylim(-reach, reach)
    axes.set_xlabel("neutral input, % of full scale")
    axes.set_ylabel("10-bit codes from grey")
    axes.legend(frameon=False, fontsize=8, labelcolor=THEMED.faint, ncols=3, loc="upper left")
    worst = float(np.abs(tint).max())
    at = 100 * inputs[int(np.abs(tint).max(axis=1).argmax()), 1]
    return finished(
        drawing,
        "tint",
        "Tint of neutrals",
        f"Difference of each channel from grey: at most {worst:.1f} 10-bit codes, at {at:.0f} %.",
        "Flat lines at zero leave greys grey.",
    )
