"""A chart of known colours: its layout, and how it is drawn."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.still.still import Still
from lutbench.model.transforms import Array
from lutbench.tables.lut import lattice
from lutbench.tables.nodes import greys

SIZES = (5, 33)
"""Smallest and largest number of colours along an edge of the cube: what fills and fits a frame."""

LEAST_CELL_PX = 6
"""Side of the smallest patch that is drawn, in pixels: it can be read at two thirds of its size."""

LEAST_READ_PX = 4.0
"""Side of the smallest patch that is read, in pixels: its middle half still has whole pixels."""

MARGIN_SHARE = 0.045
"""Share of the frame on each side that may be cropped: a little under overscan of 5 %."""

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
"""Every such patch is a control, which shows whether the device treats the whole frame alike."""

RAMP_STEPS = 129
"""Steps of the neutral ramp: tone curves bend more sharply than the cube of colours can show."""

PARTS = tuple(
    f"{vertical} {horizontal}".strip()
    for vertical in ("upper", "middle", "lower")
    for horizontal in ("left", "centre", "right")
)
UNITS = 9  # of a marker's side: field, ring, gap, three of the centre, gap, ring, field
VERSION = 1
"""Version of the layout, in the code of the chart, so that a later one can be recognised."""

FIELDS = (("top", 1), ("version", 3), ("size", 8), ("columns", 10), ("rows", 10), ("cell", 8))
CHECK_BITS = 16
"""Bits of the checksum: one misreading in 65536 is not noticed."""

BITS = sum(bits for _, bits in FIELDS) + CHECK_BITS


@dataclass(frozen=True)
class Layout:
    """The positions of all parts of a chart, in pixels of the chart as it was drawn."""

    size: int
    """Colours along an edge of the cube."""
    columns: int
    """Of patches, as `rows`."""
    rows: int
    cell: int
    """The side of a patch in pixels."""

    @cached_property
    def marker(self) -> int:
        """The side of a corner marker, and the height of the code strips."""
        return max(45, round(self.rows * self.cell / 16 / UNITS) * UNITS)

    @property
    def width(self) -> int:
        """The width of the chart without its margin."""
        return self.columns * self.cell

    @property
    def height(self) -> int:
        """The height of the chart without its margin."""
        return self.rows * self.cell + 2 * self.marker

    @cached_property
    def inputs(self) -> Array:
        """The colour of each cell, row by row, shape (rows · columns, 3).

        Between the controls are the colours of the cube, red running fastest, then a neutral
        ramp.
        """
        count = self.rows * self.columns
        colours = np.empty((count, 3))
        control = self.controls >= 0
        colours[control] = CONTROLS[self.controls[control]]
        nodes = lattice(self.size).transpose(2, 1, 0, 3).reshape(-1, 3)
        ramp = greys(np.linspace(0, 1, RAMP_STEPS))
        colours[~control] = np.concatenate([nodes, ramp])
        return colours

    @cached_property
    def controls(self) -> NDArray[np.int64]:
        """For each cell, the number of its control colour, or −1 where it is not a control."""
        count = self.rows * self.columns
        row, column = np.divmod(np.arange(count), self.columns)
        wanted = (column + 5 * row) % CONTROL_EVERY == 0
        spare = count - self.size**3 - RAMP_STEPS
        # Cells that remain at the end are controls too.
        numbers = np.full(count, -1)
        chosen = np.flatnonzero(wanted)[:spare]
        rest = np.flatnonzero(~np.isin(np.arange(count), chosen))[::-1][: spare - len(chosen)]
        every = np.sort(np.concatenate([chosen, rest]))
        numbers[every] = np.arange(len(every)) % len(CONTROLS)
        return numbers

    @cached_property
    def centres(self) -> Array:
        """x and y of the centre of each cell, shape (rows · columns, 2)."""
        row, column = np.divmod(np.arange(self.rows * self.columns), self.columns)
        return np.stack([(column + 0.5) * self.cell, self.marker + (row + 0.5) * self.cell], axis=1)

    @cached_property
    def marker_centres(self) -> Array:
        """x and y of the markers: top left, top right, bottom left, bottom right."""
        near, right, low = self.marker / 2, self.width - self.marker / 2, self.height
        bottom = low - self.marker / 2
        return np.array([[near, near], [right, near], [near, bottom], [right, bottom]])

    def bits(self, top: bool) -> NDArray[np.int64]:
        """The bits of a code strip: the layout, and a checksum."""
        values = {
            "top": int(top),
            "version": VERSION,
            "size": self.size,
            "columns": self.columns,
            "rows": self.rows,
            "cell": self.cell,
        }
        text = "".join(f"{values[name]:0{bits}b}" for name, bits in FIELDS)
        check = zlib.crc32(text.encode()) & (2**CHECK_BITS - 1)
        return np.array([int(bit) for bit in f"{text}{check:0{CHECK_BITS}b}"])


def layout_for(size: int = 21, width: int = 1920, height: int = 1080) -> Layout:
    """The layout with the largest patches that fit a frame.

    Raises LutbenchError when the chart is too large for the frame.
    """
    low, high = SIZES
    if not low <= size <= high:
        raise LutbenchError(f"a chart size of {size} is out of range", accepted=f"{low} to {high}")
    if not (256 <= width <= 16384 and 192 <= height <= 16384):
        raise LutbenchError(
            f"a frame of {width}×{height} is out of range", accepted="256×192 to 16384×16384"
        )
    inner_width, inner_height = (int(side * (1 - 2 * MARGIN_SHARE)) for side in (width, height))
    wanted = round((size**3 + RAMP_STEPS) * (1 + 1 / (CONTROL_EVERY - 1)))
    for cell in range(min(inner_width // 12, 255), LEAST_CELL_PX - 1, -1):
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
    """The chart as a 16-bit still; code value 65535 is signal 1.0."""
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
    """A marker: a black ring around a black square, on white."""
    unit = np.arange(side) * UNITS // side
    distance = np.maximum.outer(np.abs(unit - 4), np.abs(unit - 4))
    return np.where((distance == 3) | (distance <= 1), 0.0, 1.0)


def _draw_code(chart: Array, layout: Layout, top: bool) -> None:
    side = layout.marker
    strip = chart[:side] if top else chart[-side:]
    edges = np.linspace(side, layout.width - side, BITS + 1).round().astype(int)
    for bit, start, stop in zip(layout.bits(top), edges, edges[1:], strict=False):
        strip[:, start:stop] = 1.0 - bit
