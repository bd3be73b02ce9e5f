"""Finding a chart in a picture: its markers, and the code that states its layout."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.chart.layout import (
    BITS,
    CHECK_BITS,
    FIELDS,
    LEAST_CELL_PX,
    RAMP_STEPS,
    SIZES,
    VERSION,
    Layout,
)
from lutbench.model.transforms import Array


@dataclass(frozen=True)
class Placement:
    """From chart pixels to picture pixels: x' = scale · x + offset, per axis."""

    scale: Array
    offset: Array

    def of(self, points: Array) -> Array:
        return np.asarray(points * self.scale + self.offset)


def locate_chart(luma: Array, where: str = "") -> tuple[Layout, Placement]:
    """The layout of the chart in a picture, shape (height, width), and its position.

    Raises LutbenchError when there is none, or it is mirrored, rotated or cut; `where` names the
    picture.
    """
    return _placed(luma, _find_markers(luma, where), where)


def _find_markers(luma: Array, where: str) -> Array:
    """Centre and size (x, y, width, height) of the markers found, shape (n, 4)."""
    low, high = np.percentile(luma[::2, ::2], [0.2, 99.8])
    every: list[Array] = []
    if high - low > 4 / 255:
        # Several thresholds, since scaling blurs thin lines differently in each corner.
        for level in (0.5, 0.35, 0.65, 0.2, 0.8):
            for marker in _markers_at(luma, low + level * (high - low)):
                if all(np.hypot(*(marker - other)[:2]) > marker[2] for other in every):
                    every.append(marker)
            if len(every) >= 4:
                return np.array(every)
    raise LutbenchError(
        f"{len(every)} of the chart's 4 corner markers were found",
        where=where,
        accepted="the whole chart, not cut, with its markers visible",
    )


def _markers_at(luma: Array, threshold: float) -> Array:
    from scipy import ndimage

    dark = luma < threshold
    labels, _ = ndimage.label(dark)
    boxes = ndimage.find_objects(labels)
    if not boxes:
        return np.zeros((0, 4))
    edges = np.array([[s[0].start, s[0].stop, s[1].start, s[1].stop] for s in boxes], float)
    height, width = edges[:, 1] - edges[:, 0], edges[:, 3] - edges[:, 2]
    filled = np.bincount(labels.ravel())[1:]
    likely = (
        (filled >= 0.8 * height * width)
        & (np.minimum(height, width) >= 4)
        & (np.maximum(height, width) <= 3 * np.minimum(height, width))
        & (np.maximum(height, width) <= 0.1 * max(luma.shape))
    )
    edges, height, width = edges[likely], height[likely], width[likely]
    y, x = (edges[:, 0] + edges[:, 1] - 1) / 2, (edges[:, 2] + edges[:, 3] - 1) / 2
    fits = np.ones(len(x), bool)
    for distance, expect_dark in ((0, True), (2, False), (3, True), (4, False)):
        for towards_y, towards_x in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1)):
            py = np.round(y + distance * towards_y * height / 3).astype(int)
            px = np.round(x + distance * towards_x * width / 3).astype(int)
            inside = (py >= 0) & (py < luma.shape[0]) & (px >= 0) & (px < luma.shape[1])
            fits &= inside
            py, px = np.clip(py, 0, luma.shape[0] - 1), np.clip(px, 0, luma.shape[1] - 1)
            fits &= dark[py, px] == expect_dark
    centres = [
        (*_refined(luma, cx, cy, w / 3, h / 3), 3 * w, 3 * h)
        for cx, cy, w, h in zip(x[fits], y[fits], width[fits], height[fits], strict=True)
    ]
    return np.array(centres).reshape(-1, 4)


def _refined(luma: Array, x: float, y: float, unit_x: float, unit_y: float) -> tuple[float, float]:
    """The centre of the dark area of a marker, in pixel-edge coordinates.

    The marker is symmetrical, so its centre does not depend on what the device does to tones.
    """
    for _ in range(3):
        reach_x, reach_y = 4 * unit_x, 4 * unit_y
        ys = np.arange(max(int(y - reach_y), 0), min(int(y + reach_y) + 2, luma.shape[0]))
        xs = np.arange(max(int(x - reach_x), 0), min(int(x + reach_x) + 2, luma.shape[1]))
        part = luma[np.ix_(ys, xs)]
        # A window with soft edges, so that its alignment to pixels does not matter.
        soft_y = np.clip(reach_y + 0.5 - np.abs(ys - y), 0, 1)
        soft_x = np.clip(reach_x + 0.5 - np.abs(xs - x), 0, 1)
        weight = (part.max() - part) * np.outer(soft_y, soft_x)
        total = weight.sum()
        y, x = float((weight.sum(1) * ys).sum() / total), float((weight.sum(0) * xs).sum() / total)
    return x + 0.5, y + 0.5


def _placed(luma: Array, found: Array, where: str) -> tuple[Layout, Placement]:
    """The layout that the code states, and its position in the picture."""
    corners = _corners(found)
    spans_x = corners[[1, 3], 0] - corners[[0, 2], 0]
    spans_y = corners[[2, 3], 1] - corners[[0, 1], 1]
    tilt = max(
        abs(corners[0, 1] - corners[1, 1]) / spans_x[0],
        abs(corners[2, 1] - corners[3, 1]) / spans_x[1],
        abs(corners[0, 0] - corners[2, 0]) / spans_y[0],
        abs(corners[1, 0] - corners[3, 0]) / spans_y[1],
    )
    if tilt > 0.004:
        raise LutbenchError(
            "the chart is rotated or distorted (or something was taken for a marker)",
            where=where,
            accepted="a picture that was only scaled, moved or cropped",
        )
    for name, picture, points in _views(luma, corners):
        layout = _decoded(picture, points)
        if layout is None:
            continue
        own = layout.marker_centres
        scale = np.array(
            [spans_x.mean() / (own[1, 0] - own[0, 0]), spans_y.mean() / (own[2, 1] - own[0, 1])]
        )
        if not 0.5 < scale[1] / scale[0] < 2:
            raise LutbenchError(
                "the chart is shifted so that one edge reappears at the other",
                where=where,
                accepted="the whole chart in one piece",
            )
        if name:
            raise LutbenchError(
                f"the chart is {name}", where=where, accepted="a chart the right way round"
            )
        offset = corners[:, :2].mean(axis=0) - own.mean(axis=0) * scale
        return layout, Placement(scale, offset)
    raise LutbenchError(
        "the chart's code cannot be read, so the chart is shifted, cut or covered",
        where=where,
        accepted="the whole chart as `lutbench chart` draws it",
    )


def _corners(found: Array) -> Array:
    """The outermost markers: top left, top right, bottom left, bottom right."""
    total, across = found[:, 0] + found[:, 1], found[:, 0] - found[:, 1]
    picked = [total.argmin(), across.argmax(), across.argmin(), total.argmax()]
    return np.asarray(found[picked])


def _views(luma: Array, corners: Array) -> Any:
    """The picture unchanged, mirrored and rotated, so that the error can name what was done."""
    height, width = luma.shape

    def flipped(points: Array, x: bool, y: bool) -> Array:
        moved = points.copy()
        if x:
            moved[:, 0] = width - moved[:, 0]
        if y:
            moved[:, 1] = height - moved[:, 1]
        return _corners(moved)

    yield "", luma, corners
    yield "mirrored left to right", luma[:, ::-1], flipped(corners, True, False)
    yield "mirrored top to bottom", luma[::-1], flipped(corners, False, True)
    yield "upside down", luma[::-1, ::-1], flipped(corners, True, True)


def _decoded(luma: Array, corners: Array) -> Layout | None:
    """The layout that both code strips state, or None."""
    side = float(np.median(corners[:, 2]))
    layouts = []
    for top in (True, False):
        left, right = (corners[0], corners[1]) if top else (corners[2], corners[3])
        start, stop = left[0] + side / 2, right[0] - side / 2
        width = (stop - start) / BITS
        if width < 3:
            return None
        x = start + (np.arange(BITS) + 0.5) * width
        y = np.linspace(left[1], right[1], BITS)
        values = _levels(luma, x, y, width / 4, float(np.median(corners[:, 3])) / 8)
        bits = values < (values.min() + values.max()) / 2
        layouts.append(_layout_of(bits, top))
    return layouts[0] if layouts[0] == layouts[1] else None


def _levels(luma: Array, x: Array, y: Array, reach_x: float, reach_y: float) -> Array:
    """The mean around each point."""
    height, width = luma.shape
    values = []
    for cx, cy in zip(x, y, strict=True):
        top, left = max(int(cy - reach_y), 0), max(int(cx - reach_x), 0)
        stop_y, stop_x = min(int(cy + reach_y) + 1, height), min(int(cx + reach_x) + 1, width)
        part = luma[top:stop_y, left:stop_x]
        values.append(part.mean() if part.size else np.nan)
    return np.asarray(np.nan_to_num(np.array(values), nan=float(np.nanmean(values))))


def _layout_of(bits: NDArray[np.bool_], top: bool) -> Layout | None:
    """The layout that a strip's bits state; None when they are not those of a chart."""
    text = "".join("1" if bit else "0" for bit in bits)
    values, start = {}, 0
    for name, count in FIELDS:
        values[name] = int(text[start : start + count], 2)
        start += count
    if int(text[start:], 2) != zlib.crc32(text[:start].encode()) & (2**CHECK_BITS - 1):
        return None
    low, high = SIZES
    size, columns, rows = values["size"], values["columns"], values["rows"]
    if values["top"] != top or values["version"] != VERSION or not low <= size <= high:
        return None
    if (
        values["cell"] < LEAST_CELL_PX
        or not size**3 + RAMP_STEPS <= columns * rows <= 2 * size**3 + 4 * RAMP_STEPS
    ):
        return None
    return Layout(size, columns, rows, values["cell"])
