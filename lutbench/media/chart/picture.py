"""Reading the chart of known colours after it was sent through a device.

The chart has the colours of a cube and a neutral ramp as flat patches, ring markers in its four
corners, a code in the strips between them that states its layout and orientation, and control
patches: a few colours that are repeated all over. The returned picture may be scaled, moved,
cropped into the margin, of 8 bits, lightly compressed and noisy. The markers are found by their
shape, so no colour has to come through unchanged. A chart that is mirrored, rotated, cut or
covered, or on which equal colours differ, is refused.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.chart.layout import CONTROLS, LEAST_READ_PX, PARTS, Layout
from lutbench.media.chart.locate import Placement, locate_chart
from lutbench.model.transforms import Array
from lutbench.results import PlainData

COVERED_SIGNAL = 16 / 255
"""Largest error of a control patch, in signal: a larger one means that something covers it."""

BLED_SIGNAL = 6 / 255
"""Error of a control patch, in signal, that colours bleeding from neighbours can cause."""

DRIFT_SIGNAL = 2.5 / 255
"""Largest mean error, in signal, of the control patches in a ninth of the chart."""

AT_END_SIGNAL = 0.75 / 255
"""Distance in signal from the lowest or highest value of all patches within which one is clipped.
"""

LUMA = np.array([0.25, 0.6, 0.15])
"""Weights of R, G and B in the grey picture that is searched for markers, roughly those of luma."""


@dataclass(frozen=True)
class ChartReading(PlainData):
    """The reading of a chart: for each patch, the colour sent and the colour found.

    Parameters
    ----------
    layout
        The layout of the chart, read from its code.
    inputs, outputs
        Shape (patches, 3): signal sent, signal found (the mean of the patch's middle).
    noise
        Standard deviation from pixel to pixel inside patches, in 8-bit code values.
    uncertainty
        Standard deviation of a patch's colour, in 8-bit code values, from the control
        patches: noise, compression and bleeding from neighbours.
    scale
        The scale of the picture relative to the chart, in x and y.
    offset
        The position of the chart's corner in the picture, in pixels.
    clipped
        Share of patches with a channel at the lowest or the highest value found.
    notes
        Notes for the user.
    """

    KEYS = (
        *("size", "patches", "patch_pixels", "noise_code_8bit=noise"),
        *("uncertainty_code_8bit=uncertainty", "scale", "offset", "clipped_share=clipped", "notes"),
    )

    layout: Layout
    inputs: Array
    outputs: Array
    noise: float
    uncertainty: float
    scale: tuple[float, float]
    offset: tuple[float, float]
    clipped: float
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> int:
        """Colours along an edge of the cube."""
        return self.layout.size

    @property
    def patches(self) -> int:
        """The number of patches."""
        return len(self.inputs)

    @property
    def patch_pixels(self) -> tuple[float, float]:
        """The width and height of a patch in the picture."""
        x, y = (round(self.layout.cell * each, 2) for each in self.scale)
        return x, y


def read_chart(picture: NDArray[Any], where: str = "") -> ChartReading:
    """Read a chart that was sent through a device.

    Parameters
    ----------
    picture
        Signal, shape (height, width, 3).

    Raises
    ------
    LutbenchError
        When there is no whole chart, it is mirrored, rotated, cut or covered, or one colour
        comes back differently in different places.
    """
    picture = _signal(picture, where)
    layout, placement = locate_chart(np.asarray(picture @ LUMA), where)
    cell = layout.cell * placement.scale
    if cell.min() < LEAST_READ_PX:
        raise LutbenchError(
            f"the patches are only {cell.min():.1f} pixels wide",
            where=where,
            accepted=f"{LEAST_READ_PX:g} pixels or more: less scaling, or a smaller chart",
        )
    means, spreads, counts = _patches(picture, layout, placement)
    noise = np.median(spreads[layout.controls >= 0], axis=0)
    _check_covered(spreads, noise, layout, where)
    uncertainty = _check_controls(means, layout.controls, noise, counts, layout, where)
    low, high = means.min(axis=0), means.max(axis=0)
    at_end = ((means <= low + AT_END_SIGNAL) | (means >= high - AT_END_SIGNAL)).any(axis=1)
    inside = (layout.inputs > 0).all(axis=1) & (layout.inputs < 1).all(axis=1)
    clipped = float(at_end[inside].mean())
    return ChartReading(
        layout,
        layout.inputs,
        means,
        float(noise.mean() * 255),
        uncertainty * 255,
        (float(placement.scale[0]), float(placement.scale[1])),
        (float(placement.offset[0]), float(placement.offset[1])),
        clipped,
        tuple(_notes(means, layout, clipped)),
    )


def _signal(picture: NDArray[Any], where: str) -> NDArray[Any]:
    picture = np.asarray(picture)
    if picture.dtype not in (np.float32, np.float64):
        raise LutbenchError(
            f"a picture of {picture.dtype} is not a signal", where=where, accepted="floats, 0 to 1"
        )
    if not np.isfinite(picture).all():
        raise LutbenchError("the picture holds NaN or infinity", where=where)
    return picture


def _notes(means: Array, layout: Layout, clipped: float) -> Iterator[str]:
    if clipped > 0.02:
        yield f"{100 * clipped:.0f} % of the patches inside the cube came back clipped"
    black, white = (means[layout.controls == k].mean() for k in (0, 4))
    if abs(black - 16 / 255) < 1.5 / 255 and abs(white - 235 / 255) < 1.5 / 255:
        yield "black and white came back at codes 16 and 235: legal range"


def _patches(
    picture: Array, layout: Layout, placement: Placement
) -> tuple[Array, Array, NDArray[np.int64]]:
    """Mean, standard deviation and number of pixels of the middle half of each patch.

    Raises
    ------
    LutbenchError
        When a patch is outside the picture.
    """
    half = layout.cell * placement.scale / 4
    centres = placement.of(layout.centres)
    height, width = picture.shape[:2]
    start = np.ceil(centres - half - 1e-6).astype(int)
    stop = np.maximum(np.floor(centres + half + 1e-6).astype(int), start + 1)
    if start.min() < 0 or (stop > [width, height]).any():
        raise LutbenchError("the chart is cut: some patches are outside the picture")
    means = np.empty((layout.rows, layout.columns, 3))
    squares = np.empty_like(means)
    left, right = start[: layout.columns, 0], stop[: layout.columns, 0]
    upper, lower = start[:: layout.columns, 1], stop[:: layout.columns, 1]
    for row, (top, bottom) in enumerate(zip(upper, lower, strict=True)):
        band = picture[top:bottom].astype(np.float64)
        for result, values in ((means, band), (squares, band**2)):
            ahead = np.concatenate([np.zeros((1, 3)), values.mean(axis=0).cumsum(axis=0)])
            result[row] = (ahead[right] - ahead[left]) / (right - left)[:, None]
    counts = np.multiply.outer(lower - upper, right - left).ravel()
    spread = np.maximum(squares - means**2, 0).reshape(-1, 3)
    spread *= (counts / np.maximum(counts - 1, 1))[:, None]
    return means.reshape(-1, 3), np.sqrt(spread), counts


def _check_covered(spreads: Array, noise: Array, layout: Layout, where: str) -> None:
    """Refuse a chart with patches that are not flat: they are covered, or have moved."""
    worst = (spreads - np.maximum(3.5 * noise, 2 / 255)).max(axis=1)
    uneven = worst > 6 / 255
    if uneven.mean() <= 0.002:
        return
    row, column = np.divmod(np.flatnonzero(uneven), layout.columns)
    raise LutbenchError(
        f"{100 * uneven.mean():.1f} % of the patches are not flat (rows {row.min() + 1} to"
        f" {row.max() + 1}, columns {column.min() + 1} to {column.max() + 1}): something covers"
        " them, or parts of the chart moved",
        where=where,
        accepted="only the chart, without overlays and sharpening",
    )


def _check_controls(
    means: Array,
    control: NDArray[np.int64],
    noise: Array,
    counts: NDArray[np.int64],
    layout: Layout,
    where: str,
) -> float:
    """Refuse a chart on which equal colours differ; returns their standard deviation in signal."""
    cells = np.flatnonzero(control >= 0)
    off = np.empty((len(cells), 3))
    for number in range(len(CONTROLS)):
        own = control[cells] == number
        off[own] = means[cells[own]] - np.median(means[cells[own]], axis=0)
    far = np.abs(off).max(axis=1)
    blur = 6 * float(noise.max()) / np.sqrt(float(np.median(counts)))
    row, column = np.divmod(cells, layout.columns)
    what = "the same colour comes back differently across the chart"
    accepted = "a device that treats all parts of the picture alike, without overlays"
    if far.max() > COVERED_SIGNAL + blur or (far > BLED_SIGNAL + blur).mean() > 0.04:
        worst = far.argmax()
        raise LutbenchError(
            f"{what}: off by {far[worst] * 255:.0f} of 255 in row {row[worst] + 1}, column"
            f" {column[worst] + 1}, and by more than {(BLED_SIGNAL + blur) * 255:.0f} in"
            f" {100 * (far > BLED_SIGNAL + blur).mean():.1f} % of the control patches",
            where=where,
            accepted=accepted,
        )
    # A gradual change across the picture shows in the means of three by three parts.
    part = 3 * (3 * row // layout.rows) + 3 * column // layout.columns
    for number in range(9):
        inside = off[part == number]
        drift = np.abs(inside.mean(axis=0)).max() if len(inside) > 8 else 0.0
        if drift > DRIFT_SIGNAL + blur / np.sqrt(max(len(inside), 1)):
            raise LutbenchError(
                f"{what}: the {PARTS[number]} part is off by {drift * 255:.1f} of 255",
                where=where,
                accepted=accepted,
            )
    return float(np.sqrt((off**2).mean()))
