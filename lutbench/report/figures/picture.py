"""A picture before and after a LUT, each with its waveform."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.report.drawing import THEMED, add_axes, new_figure, picture_uri
from lutbench.report.figures.base import Figure, finished

# Luma weights of Recommendation ITU-R BT.709, for the waveform only.
LUMA = np.array([0.2126, 0.7152, 0.0722])


def waveform(picture: NDArray[Any], columns: int = 240, levels: int = 128) -> NDArray[np.float64]:
    """How often each luma level stands in each column: shape (levels, columns), 0..1.

    Levels run from -5 to 105 % of full scale, low first.
    """
    luma = np.clip(np.asarray(picture, np.float64) @ LUMA, -0.05, 1.05)
    width = luma.shape[1]
    column = np.broadcast_to(np.arange(width) * columns // width, luma.shape)
    level = np.minimum(((luma + 0.05) / 1.1 * levels).astype(int), levels - 1)
    counts = np.zeros((levels, columns))
    np.add.at(counts, (level, column), 1.0)
    # A root brings out thin lines; the common counts, not the rare peaks, set the scale.
    common = np.percentile(counts[counts > 0], 95)
    return np.asarray(np.sqrt(np.minimum(counts / common, 1.0)))


def waveform_figure(key: str, name: str, before: NDArray[Any], after: NDArray[Any]) -> Figure:
    """The waveforms of a picture before and after a LUT; pictures are (h, w, 3) full-scale."""
    drawing = new_figure(8.4, 2.5)
    for index, (label, picture) in enumerate((("before", before), ("after", after))):
        axes = add_axes(drawing, 121 + index)
        density = waveform(picture)
        ink = np.zeros((*density.shape, 4))
        ink[..., :3] = (0.0, 0.45, 0.70)
        ink[..., 3] = density
        axes.imshow(
            ink, origin="lower", aspect="auto", extent=(0, 1, -5, 105), interpolation="nearest"
        )
        axes.set_xticks([])
        axes.set_yticks([0, 25, 50, 75, 100])
        axes.set_title(label, fontsize=8.5, color=THEMED.faint)
        if index == 0:
            axes.set_ylabel("luma, % of full scale")
    spans = [np.percentile(100 * (np.asarray(p) @ LUMA), [1, 99]) for p in (before, after)]
    words = ", ".join(
        f"{label} {low:.0f} to {high:.0f} %"
        for label, (low, high) in zip(("before", "after"), spans, strict=True)
    )
    return finished(
        drawing,
        f"wave-{key}",
        f"Waveform of {name}",
        f"Luma levels of {name} by column: {words}.",
        f"Luma by column: {words}.",
    )


def picture_pair(before: NDArray[Any], after: NDArray[Any], *, photographic: bool) -> list[str]:
    """Data addresses of the picture before and after, for two <img> elements."""
    return [picture_uri(each, photographic=photographic) for each in (before, after)]
