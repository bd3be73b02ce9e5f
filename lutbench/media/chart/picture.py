"""The picture chart: a lattice of known colours that is sent through a box, and its reader.

The chart holds every node of an n-lattice, and a neutral ramp, as flat patches, with four ring
markers in the corners, a code in the strips between them that says how it is
laid out and which way up it is, and control patches, a few colours that come
back all over the picture. What returns may be scaled, moved, cropped into the
margin, of 8 bits, lightly compressed and noisy. The reader finds the markers by
their shape, so no colour has to come through unchanged; it refuses what is
mirrored, turned, cut, covered, or not the same all over the picture.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.still.still import Still
from lutbench.tables.lut import lattice
from lutbench.tables.nodes import greys

Array = NDArray[np.float64]

SIZES = (5, 33)
LEAST_CELL = 6
"""Pixels: the smallest patch that is drawn."""

LEAST_READ = 4.0
"""Pixels: the smallest patch that is read."""

MARGIN = 0.045
"""The share of the frame on each side that may be cropped away."""

CONTROLS = np.array(
    [
        [0.0, 0.0, 0.0],
        [0.25, 0.25, 0.25],
        [0.5, 0.5, 0.5],
        [0.75, 0.75, 0.75],
        [1.0, 1.0, 1.0],
        [0.6, 0.35, 0.35],
        [0.35, 0.6, 0.35],
        [0.35, 0.35, 0.6],
    ]
)
CONTROL_EVERY = 17
RAMP = 129
"""Steps of the neutral ramp: tone bends more sharply than a lattice of colours can show."""

COVERED = 16 / 255
"""How far one control patch may be off: more is no bleeding over, something covers it."""

BLED = 6 / 255
"""How far a few control patches may be off by what bleeds over from their neighbours."""

DRIFT = 2.5 / 255
"""How far the control patches of a ninth of the chart may be off on average."""

_PARTS = tuple(
    f"{vertical} {horizontal}".strip()
    for vertical in ("upper", "middle", "lower")
    for horizontal in ("left", "centre", "right")
)
_UNITS = 9  # of a marker's side: field, ring, gap, three of the centre, gap, ring, field
_VERSION = 1
_FIELDS = (("top", 1), ("version", 3), ("size", 8), ("columns", 10), ("rows", 10), ("cell", 8))
_CHECK_BITS = 16
_BITS = sum(bits for _, bits in _FIELDS) + _CHECK_BITS


@dataclass(frozen=True)
class Layout:
    """Where everything of a chart lies, in pixels of the chart as it was drawn.

    Parameters
    ----------
    size
        Nodes along an edge of the lattice.
    columns, rows
        Of the grid of patches.
    cell
        The side of a patch.
    """

    size: int
    columns: int
    rows: int
    cell: int

    @cached_property
    def marker(self) -> int:
        """The side of a corner marker, and the height of the code strips."""
        return max(45, round(self.rows * self.cell / 16 / _UNITS) * _UNITS)

    @property
    def width(self) -> int:
        """Of the chart without its margin."""
        return self.columns * self.cell

    @property
    def height(self) -> int:
        """Of the chart without its margin."""
        return self.rows * self.cell + 2 * self.marker

    @cached_property
    def inputs(self) -> Array:
        """The colour of every cell, row by row, shape (rows · columns, 3).

        Between the controls: the lattice, red running fastest, then a neutral ramp.
        """
        count = self.rows * self.columns
        colours = np.empty((count, 3))
        control = self.controls >= 0
        colours[control] = CONTROLS[self.controls[control]]
        nodes = lattice(self.size).transpose(2, 1, 0, 3).reshape(-1, 3)
        ramp = greys(np.linspace(0, 1, RAMP))
        colours[~control] = np.concatenate([nodes, ramp])
        return colours

    @cached_property
    def controls(self) -> NDArray[np.int64]:
        """For every cell the number of its control colour, or −1 for any other."""
        count = self.rows * self.columns
        row, column = np.divmod(np.arange(count), self.columns)
        wanted = (column + 5 * row) % CONTROL_EVERY == 0
        spare = count - self.size**3 - RAMP
        # Whatever the rest leaves over are controls too, at the end.
        numbers = np.full(count, -1)
        chosen = np.flatnonzero(wanted)[:spare]
        rest = np.flatnonzero(~np.isin(np.arange(count), chosen))[::-1][: spare - len(chosen)]
        every = np.sort(np.concatenate([chosen, rest]))
        numbers[every] = np.arange(len(every)) % len(CONTROLS)
        return numbers

    @cached_property
    def centres(self) -> Array:
        """x and y of the centre of every cell, shape (rows · columns, 2)."""
        row, column = np.divmod(np.arange(self.rows * self.columns), self.columns)
        return np.stack([(column + 0.5) * self.cell, self.marker + (row + 0.5) * self.cell], axis=1)

    @cached_property
    def marker_centres(self) -> Array:
        """x and y of the markers: top left, top right, bottom left, bottom right."""
        near, right, low = self.marker / 2, self.width - self.marker / 2, self.height
        bottom = low - self.marker / 2
        return np.array([[near, near], [right, near], [near, bottom], [right, bottom]])

    def bits(self, top: bool) -> NDArray[np.int64]:
        """The code of a strip: what the layout is, and a checksum."""
        values = {
            "top": int(top),
            "version": _VERSION,
            "size": self.size,
            "columns": self.columns,
            "rows": self.rows,
            "cell": self.cell,
        }
        text = "".join(f"{values[name]:0{bits}b}" for name, bits in _FIELDS)
        check = zlib.crc32(text.encode()) & (2**_CHECK_BITS - 1)
        return np.array([int(bit) for bit in f"{text}{check:0{_CHECK_BITS}b}"])


def layout_for(size: int = 21, width: int = 1920, height: int = 1080) -> Layout:
    """The layout with the largest patches that fit a frame.

    Raises
    ------
    LutbenchError
        When the lattice is too large for the frame.
    """
    low, high = SIZES
    if not low <= size <= high:
        raise LutbenchError(f"a chart size of {size} is out of limits", accepted=f"{low} to {high}")
    if not (256 <= width <= 16384 and 192 <= height <= 16384):
        raise LutbenchError(
            f"a frame of {width}×{height} is out of limits", accepted="256×192 to 16384×16384"
        )
    inner_width, inner_height = (int(side * (1 - 2 * MARGIN)) for side in (width, height))
    wanted = round((size**3 + RAMP) * (1 + 1 / (CONTROL_EVERY - 1)))
    for cell in range(min(inner_width // 12, 255), LEAST_CELL - 1, -1):
        columns = inner_width // cell
        rows = -(-wanted // columns)
        layout = Layout(size, columns, rows, cell)
        if layout.height <= inner_height and columns < 1024 and rows < 1024:
            return layout
    raise LutbenchError(
        f"a chart of size {size} does not fit a frame of {width}×{height}",
        accepted="a smaller size, or a larger frame",
    )


def draw_chart(size: int = 21, width: int = 1920, height: int = 1080) -> Still:
    """The chart as a still of 16 bits: code value 65535 is signal 1.0."""
    layout = layout_for(size, width, height)
    picture = np.full((height, width, 3), 0.5)
    left, top = (width - layout.width) // 2, (height - layout.height) // 2
    chart = picture[top : top + layout.height, left : left + layout.width]
    side = layout.marker
    chart[:side] = chart[-side:] = 1.0
    for x, y in (layout.marker_centres - side / 2).astype(int):
        chart[y : y + side, x : x + side] = _marker(side)[..., None]
    for upper in (True, False):
        _draw_code(chart, layout, upper)
    colours = layout.inputs.reshape(layout.rows, layout.columns, 3)
    chart[side:-side] = colours.repeat(layout.cell, axis=0).repeat(layout.cell, axis=1)
    codes = np.round(picture * 65535).astype(np.uint16)
    return Still(codes, ("R", "G", "B"), "16", "png")


def _marker(side: int) -> Array:
    """A black ring with a black square in it, on white."""
    unit = np.arange(side) * _UNITS // side
    distance = np.maximum.outer(np.abs(unit - 4), np.abs(unit - 4))
    return np.where((distance == 3) | (distance <= 1), 0.0, 1.0)


def _draw_code(chart: Array, layout: Layout, top: bool) -> None:
    side = layout.marker
    strip = chart[:side] if top else chart[-side:]
    edges = np.linspace(side, layout.width - side, _BITS + 1).round().astype(int)
    for bit, start, stop in zip(layout.bits(top), edges, edges[1:], strict=False):
        strip[:, start:stop] = 1.0 - bit


# --- reading ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class ChartReading:
    """What came back: for each patch the colour sent and the colour found.

    Parameters
    ----------
    layout
        The chart's own, read from its code.
    inputs, outputs
        Shape (patches, 3): signal sent, signal found (the mean of the patch's middle).
    noise
        Standard deviation from pixel to pixel inside patches, in 8-bit code values.
    uncertainty
        Standard deviation of a patch's colour, in 8-bit code values, as the control
        patches tell it: noise, compression and what bleeds over from neighbours.
    scale
        Of the picture against the chart, in x and y.
    offset
        Where the chart's corner lies in the picture, in pixels.
    clipped
        Share of patches with a channel at the lowest or the highest value found.
    notes
        What is worth knowing, in words.
    """

    layout: Layout
    inputs: Array
    outputs: Array
    noise: float
    uncertainty: float
    scale: tuple[float, float]
    offset: tuple[float, float]
    clipped: float
    notes: tuple[str, ...] = ()

    def to_data(self) -> dict[str, Any]:
        """The reading as plain data, without the patches."""
        return {
            "size": self.layout.size,
            "patches": len(self.inputs),
            "patch_pixels": [round(self.layout.cell * each, 2) for each in self.scale],
            "noise_code_8bit": self.noise,
            "uncertainty_code_8bit": self.uncertainty,
            "scale": list(self.scale),
            "offset": list(self.offset),
            "clipped_share": self.clipped,
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class _Placement:
    """From chart pixels to picture pixels: x' = scale · x + offset, per axis."""

    scale: Array
    offset: Array

    def of(self, points: Array) -> Array:
        return np.asarray(points * self.scale + self.offset)


def read_chart(picture: NDArray[Any], where: str = "") -> ChartReading:
    """Read a chart that came back.

    Parameters
    ----------
    picture
        Signal, shape (height, width, 3).

    Raises
    ------
    LutbenchError
        When there is no whole chart, or it is mirrored, turned, cut or covered, or
        the same colour does not come back as the same all over it.
    """
    picture = np.asarray(picture)
    if picture.dtype not in (np.float32, np.float64):
        raise LutbenchError(
            f"a picture of {picture.dtype} is no signal", where=where, accepted="floats, 0 to 1"
        )
    if not np.isfinite(picture).all():
        raise LutbenchError("the picture holds NaN or infinity", where=where)
    luma = np.asarray(picture @ np.array([0.25, 0.6, 0.15]))
    centres = _find_markers(luma, where)
    layout, placement = _placed(luma, centres, where)
    cell = layout.cell * placement.scale
    if cell.min() < LEAST_READ:
        raise LutbenchError(
            f"the patches are only {cell.min():.1f} pixels wide",
            where=where,
            accepted=f"{LEAST_READ:g} pixels or more: less scaling, or a chart of a smaller size",
        )
    means, spreads, counts = _patches(picture, layout, placement)
    control = layout.controls
    is_control = control >= 0
    noise = np.median(spreads[is_control], axis=0)
    _check_covered(spreads, noise, layout, where)
    uncertainty = _check_controls(means, control, noise, counts, layout, where)
    low, high = means.min(axis=0), means.max(axis=0)
    step = 0.75 / 255
    at_end = ((means <= low + step) | (means >= high - step)).any(axis=1)
    inside = (layout.inputs > 0).all(axis=1) & (layout.inputs < 1).all(axis=1)
    clipped = float(at_end[inside].mean())
    notes = []
    if clipped > 0.02:
        notes.append(f"{clipped:.0%} of the patches inside the cube came back clipped")
    black, white = (means[is_control][control[is_control] == k].mean() for k in (0, 4))
    if abs(black - 16 / 255) < 1.5 / 255 and abs(white - 235 / 255) < 1.5 / 255:
        notes.append("black and white came back at codes 16 and 235: legal range")
    return ChartReading(
        layout,
        layout.inputs,
        means,
        float(noise.mean() * 255),
        uncertainty * 255,
        (float(placement.scale[0]), float(placement.scale[1])),
        (float(placement.offset[0]), float(placement.offset[1])),
        clipped,
        tuple(notes),
    )


def _find_markers(luma: Array, where: str) -> Array:
    """Centre and sides (x, y, width, height) of the markers that are found, shape (n, 4)."""
    low, high = np.percentile(luma[::2, ::2], [0.2, 99.8])
    every: list[Array] = []
    if high - low > 4 / 255:
        # Several levels: scaling blurs thin lines, and not in all corners alike.
        for level in (0.5, 0.35, 0.65, 0.2, 0.8):
            for marker in _markers_at(luma, low + level * (high - low)):
                if all(np.hypot(*(marker - other)[:2]) > marker[2] for other in every):
                    every.append(marker)
            if len(every) >= 4:
                return np.array(every)
    raise LutbenchError(
        f"{len(every)} of the chart's 4 corner markers were found",
        where=where,
        accepted="the whole chart, not cut, with its markers to be seen",
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
    """The centre of darkness of a marker, in pixel-edge coordinates.

    The marker is symmetrical, so its centre does not depend on how tones come back.
    """
    for _ in range(3):
        reach_x, reach_y = 4 * unit_x, 4 * unit_y
        ys = np.arange(max(int(y - reach_y), 0), min(int(y + reach_y) + 2, luma.shape[0]))
        xs = np.arange(max(int(x - reach_x), 0), min(int(x + reach_x) + 2, luma.shape[1]))
        part = luma[np.ix_(ys, xs)]
        # A window with soft edges, so that where pixels begin does not matter.
        soft_y = np.clip(reach_y + 0.5 - np.abs(ys - y), 0, 1)
        soft_x = np.clip(reach_x + 0.5 - np.abs(xs - x), 0, 1)
        weight = (part.max() - part) * np.outer(soft_y, soft_x)
        total = weight.sum()
        y, x = float((weight.sum(1) * ys).sum() / total), float((weight.sum(0) * xs).sum() / total)
    return x + 0.5, y + 0.5


def _placed(luma: Array, found: Array, where: str) -> tuple[Layout, _Placement]:
    """The layout that the code tells, and where it lies in the picture."""
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
            "the chart is turned or distorted (or a marker was taken for another)",
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
                "the chart is shifted so that one edge comes in again at the other",
                where=where,
                accepted="the whole chart in one piece",
            )
        if name:
            raise LutbenchError(
                f"the chart is {name}", where=where, accepted="a chart the right way round"
            )
        offset = corners[:, :2].mean(axis=0) - own.mean(axis=0) * scale
        return layout, _Placement(scale, offset)
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
    """The picture as it is, and mirrored and turned, to name what was done to it."""
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
    """The layout that both code strips tell, or None."""
    side = float(np.median(corners[:, 2]))
    layouts = []
    for top in (True, False):
        left, right = (corners[0], corners[1]) if top else (corners[2], corners[3])
        start, stop = left[0] + side / 2, right[0] - side / 2
        width = (stop - start) / _BITS
        if width < 3:
            return None
        x = start + (np.arange(_BITS) + 0.5) * width
        y = np.linspace(left[1], right[1], _BITS)
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
    """The layout that a strip's bits tell; None when they are not those of a chart."""
    text = "".join("1" if bit else "0" for bit in bits)
    values, start = {}, 0
    for name, count in _FIELDS:
        values[name] = int(text[start : start + count], 2)
        start += count
    if int(text[start:], 2) != zlib.crc32(text[:start].encode()) & (2**_CHECK_BITS - 1):
        return None
    low, high = SIZES
    size, columns, rows = values["size"], values["columns"], values["rows"]
    if values["top"] != top or values["version"] != _VERSION or not low <= size <= high:
        return None
    if (
        values["cell"] < LEAST_CELL
        or not size**3 + RAMP <= columns * rows <= 2 * size**3 + 4 * RAMP
    ):
        return None
    return Layout(size, columns, rows, values["cell"])


# --- patches ---------------------------------------------------------------------------------


def _patches(
    picture: Array, layout: Layout, placement: _Placement
) -> tuple[Array, Array, NDArray[np.int64]]:
    """Mean, standard deviation and pixel count of the middle half of every patch.

    Raises
    ------
    LutbenchError
        When a patch lies outside the picture.
    """
    half = layout.cell * placement.scale / 4
    centres = placement.of(layout.centres)
    height, width = picture.shape[:2]
    start = np.ceil(centres - half - 1e-6).astype(int)
    stop = np.maximum(np.floor(centres + half + 1e-6).astype(int), start + 1)
    if start.min() < 0 or (stop > [width, height]).any():
        raise LutbenchError("the chart is cut: some patches lie outside the picture")
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
    """Patches have to be flat: one that is not is covered, or is not where it should be."""
    worst = (spreads - np.maximum(3.5 * noise, 2 / 255)).max(axis=1)
    uneven = worst > 6 / 255
    if uneven.mean() <= 0.002:
        return
    row, column = np.divmod(np.flatnonzero(uneven), layout.columns)
    raise LutbenchError(
        f"{uneven.mean():.1%} of the patches are not flat (rows {row.min() + 1} to"
        f" {row.max() + 1}, columns {column.min() + 1} to {column.max() + 1}): something covers"
        " them, or parts of the chart moved",
        where=where,
        accepted="the chart alone, without overlays, sharpening off",
    )


def _check_controls(
    means: Array,
    control: NDArray[np.int64],
    noise: Array,
    counts: NDArray[np.int64],
    layout: Layout,
    where: str,
) -> float:
    """The same colour has to come back as the same everywhere; its spread is given back."""
    cells = np.flatnonzero(control >= 0)
    off = np.empty((len(cells), 3))
    for number in range(len(CONTROLS)):
        own = control[cells] == number
        off[own] = means[cells[own]] - np.median(means[cells[own]], axis=0)
    far = np.abs(off).max(axis=1)
    blur = 6 * float(noise.max()) / np.sqrt(float(np.median(counts)))
    row, column = np.divmod(cells, layout.columns)
    what = "the same colour comes back differently across the chart"
    accepted = "a box that treats every part of the picture alike, without overlays"
    if far.max() > COVERED + blur or (far > BLED + blur).mean() > 0.04:
        worst = far.argmax()
        raise LutbenchError(
            f"{what}: off by {far[worst] * 255:.0f} of 255 in row {row[worst] + 1}, column"
            f" {column[worst] + 1}, and by more than {(BLED + blur) * 255:.0f} in"
            f" {(far > BLED + blur).mean():.1%} of the control patches",
            where=where,
            accepted=accepted,
        )
    # A slow change across the picture: the means of three by three parts.
    part = 3 * (3 * row // layout.rows) + 3 * column // layout.columns
    for number in range(9):
        inside = off[part == number]
        drift = np.abs(inside.mean(axis=0)).max() if len(inside) > 8 else 0.0
        if drift > DRIFT + blur / np.sqrt(max(len(inside), 1)):
            raise LutbenchError(
                f"{what}: the {_PARTS[number]} part is off by {drift * 255:.1f} of 255",
                where=where,
                accepted=accepted,
            )
    return float(np.sqrt((off**2).mean()))
