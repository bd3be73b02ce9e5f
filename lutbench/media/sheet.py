"""Contact sheets: several pictures in one, each with its name and levels.

A heading is followed by a grid of cells on a dark neutral grey, since the eye adapts to a
coloured surround. Under each picture are its name and a level strip: on a track from 0 to
100 % signal, a bar covers the 1st to the 99th percentile of the luma, with a notch at the median.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.still.pixels import thumbnail
from lutbench.media.still.still import Still, write_still

if TYPE_CHECKING:
    from lutbench.model.transforms import Transform

SHEET_FORMATS = ("png", "jpeg", "tiff")
MOST_CELLS = 400
"""Largest number of pictures on a sheet: more are too small to judge."""

MOST_PIXELS = 1 << 27
"""Largest number of pixels of a sheet: larger ones are slow, and many programs cannot open them."""

_GROUND = "#2b2b2b"
_INK = "#ececec"
_FAINT = "#a8a8a8"
_TRACK = "#4a4a4a"
_BAR = "#56b4e9"  # Okabe–Ito sky blue
_MARGIN_PX = 28
"""Margin around the sheet in pixels."""

_GAP_PX = 20
"""Gap between cells, or between pairs of cells, in pixels."""

_SUBHEADING_POINTS = 11.5
"""Font size of the lines under the heading, in points."""


@dataclass(frozen=True)
class _Style:
    """Font size in points, colour and weight of a line of text."""

    size: float
    colour: str
    weight: str = "normal"


_HEADING = _Style(19, _INK, "bold")
_BELOW_HEADING = _Style(_SUBHEADING_POINTS, _FAINT)
_LABEL = _Style(12.5, _INK)
_DETAIL = _Style(10.5, _FAINT)

# Luma weights of Recommendation ITU-R BT.709, for the level strip only.
_LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


@dataclass(frozen=True)
class LumaLevels:
    """Percentiles of a picture's luma, as signal."""

    low: float
    median: float
    high: float

    def __str__(self) -> str:
        if not np.isfinite(self.median):
            return "no level is finite"
        low, median, high = (f"{100 * each:.0f}" for each in (self.low, self.median, self.high))
        return f"{low}–{high} %, median {median} %"


@dataclass(frozen=True, eq=False)
class Cell:
    """One picture of a sheet.

    Parameters
    ----------
    picture
        Shape (height, width, 3), signal values; values outside 0..1 are shown clipped, but
        count unclipped in the levels.
    label
        The name under the picture.
    detail
        A second, fainter line; the levels if empty.
    """

    picture: NDArray[np.float32]
    label: str
    detail: str = ""


def levels_of(picture: NDArray[np.float32]) -> LumaLevels:
    """1st percentile, median and 99th percentile of the luma of a signal picture.

    >>> str(levels_of(np.full((4, 4, 3), 0.4, np.float32)))
    '40–40 %, median 40 %'
    """
    # float64, since sums of very large float32 values would overflow.
    luma = np.asarray(picture, dtype=np.float64) @ _LUMA
    luma = luma[np.isfinite(luma)]
    low, median, high = np.percentile(luma, [1, 50, 99]) if luma.size else [np.nan] * 3
    return LumaLevels(float(low), float(median), float(high))


def lut_sheet(
    still: Still,
    luts: Sequence[tuple[str, Transform]],
    *,
    heading: str = "",
    subheading: str = "",
    columns: int | None = None,
    cell_width: int = 480,
) -> NDArray[np.uint8]:
    """One still through each LUT, labelled; the unchanged still comes first.

    Parameters
    ----------
    still
        From `lutbench.media.still.still.read_still`.
    luts
        Pairs of label and LUT (any Transform).
    heading, subheading
        The lines at the top; left out if empty. The subheading may have several lines.
    columns
        Cells in a row; unless given, as many as suit a landscape page.
    cell_width
        The width of a picture in pixels.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8, R G B: for `write_sheet`.
    """
    small = thumbnail(still, cell_width)
    cells = [Cell(small, "as recorded")]
    for label, lut in luts:
        cells.append(Cell(np.asarray(lut.apply(small), dtype=np.float32), label))
    return draw_sheet(cells, heading=heading, subheading=subheading, columns=columns)


def before_after_sheet(
    frames: Sequence[tuple[str, NDArray[np.float32]]],
    lut: Transform,
    *,
    heading: str,
    subheading: str = "",
    columns: int | None = None,
) -> NDArray[np.uint8]:
    """Each frame beside the same frame through the LUT.

    Parameters
    ----------
    frames
        Pairs of label and signal picture (see `thumbnail`), shape (height, width, 3).
    columns
        Frames in a row; each takes two cells.

    Returns
    -------
    ndarray
        Shape (height, width, 3), uint8.
    """
    cells = []
    for label, picture in frames:
        after = np.asarray(lut.apply(picture), dtype=np.float32)
        cells.append(Cell(picture, label, f"before: {levels_of(picture)}"))
        cells.append(Cell(after, "", f"after: {levels_of(after)}"))
    if columns is None:
        columns = max(1, _columns(cells) // 2)
    return draw_sheet(
        cells, heading=heading, subheading=subheading, columns=2 * columns, pairs=True
    )


def draw_sheet(
    cells: Sequence[Cell],
    *,
    heading: str = "",
    subheading: str = "",
    columns: int | None = None,
    pairs: bool = False,
) -> NDArray[np.uint8]:
    """The cells as one picture, row by row.

    Parameters
    ----------
    pairs
        Whether cells come in pairs, with a smaller gap inside a pair.

    Raises
    ------
    LutbenchError
        When there is nothing to show, or the sheet would be too large.
    """
    if not cells:
        raise LutbenchError("there is no picture to put on the sheet")
    if len(cells) > MOST_CELLS:
        raise LutbenchError(
            f"{len(cells)} pictures are too many for one sheet", accepted=f"at most {MOST_CELLS}"
        )
    columns = max(1, min(columns or _columns(cells), len(cells)))
    subheading = "\n".join(_folded(subheading, _Grid.room(cells, columns, pairs)))
    grid = _Grid.of(cells, columns, heading, subheading, pairs)
    if grid.width * grid.height > MOST_PIXELS:
        raise LutbenchError(
            f"a sheet of {grid.width}×{grid.height} pixels is too large",
            accepted=f"fewer or smaller pictures ({MOST_PIXELS >> 20} million pixels at most)",
        )
    return _drawn(cells, grid, heading, subheading)


def write_sheet(sheet: NDArray[np.uint8], path: str | Path, *, force: bool = False) -> None:
    """Write a sheet as PNG, JPEG or TIFF, by the suffix of `path`."""
    write_still(Still(sheet, ("R", "G", "B"), "8"), path, depth="8", force=force)


@dataclass(frozen=True)
class _Grid:
    """The layout of a sheet, in pixels from the top left corner."""

    columns: int
    cell_width: int
    cell_height: int
    picture_height: int
    top: int
    width: int
    height: int
    pairs: bool

    @classmethod
    def of(
        cls, cells: Sequence[Cell], columns: int, heading: str, subheading: str, pairs: bool
    ) -> _Grid:
        cell_width = cls._cell_width(cells)
        picture_height = max(cell.picture.shape[0] for cell in cells)
        cell_height = picture_height + 62
        rows = -(-len(cells) // columns)
        lines = len(subheading.splitlines())
        top = _MARGIN_PX + (38 if heading else 0) + (5 + 21 * lines if lines else 0)
        top += 12 if heading or subheading else 0
        width = 2 * _MARGIN_PX + cls.room(cells, columns, pairs)
        height = top + rows * cell_height + (rows - 1) * _GAP_PX + _MARGIN_PX - 8
        return cls(columns, cell_width, cell_height, picture_height, top, width, height, pairs)

    @classmethod
    def room(cls, cells: Sequence[Cell], columns: int, pairs: bool) -> int:
        """The width between the margins."""
        return columns * cls._cell_width(cells) + cls._gaps(columns, pairs)

    @staticmethod
    def _cell_width(cells: Sequence[Cell]) -> int:
        return max(240, *(int(cell.picture.shape[1]) for cell in cells))

    @staticmethod
    def _gaps(columns: int, pairs: bool) -> int:
        """The sum of the gaps between that many columns."""
        if not pairs:
            return max(0, columns - 1) * _GAP_PX
        inner, outer = columns // 2, max(0, -(-columns // 2) - 1)
        return inner * 4 + outer * (_GAP_PX + 16)

    def place(self, index: int) -> tuple[int, int]:
        """The top left corner of a cell."""
        row, column = divmod(index, self.columns)
        x = _MARGIN_PX + column * self.cell_width + self._gaps(column + 1, self.pairs)
        return x, self.top + row * (self.cell_height + _GAP_PX)


def _columns(cells: Sequence[Cell]) -> int:
    """The number of columns for a page about 1.5 times as wide as high."""
    width = max(cell.picture.shape[1] for cell in cells) + _GAP_PX
    height = max(cell.picture.shape[0] for cell in cells) + 62 + _GAP_PX
    count = round((1.5 * len(cells) * height / width) ** 0.5)
    return int(min(max(1, count), len(cells)))


def _drawn(cells: Sequence[Cell], grid: _Grid, heading: str, subheading: str) -> NDArray[np.uint8]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(grid.width / 100, grid.height / 100), dpi=100, facecolor=_GROUND)
    canvas = FigureCanvasAgg(figure)
    room = grid.width - 2 * _MARGIN_PX
    if heading:
        _text(figure, grid, (_MARGIN_PX, _MARGIN_PX + 26), heading, _HEADING, room)
    for number, line in enumerate(subheading.splitlines()):
        below = _MARGIN_PX + 26 + (28 if heading else -8) + 21 * number
        _text(figure, grid, (_MARGIN_PX, below), line, _BELOW_HEADING, room)
    for index, cell in enumerate(cells):
        x, y = grid.place(index)
        levels = levels_of(cell.picture)
        if np.isfinite(levels.median):
            _strip(figure, grid, x, y + grid.picture_height + 7, levels)
        at = y + grid.picture_height + 32
        if cell.label:
            _text(figure, grid, (x, at), cell.label, _LABEL, grid.cell_width)
        detail = cell.detail or str(levels)
        _text(figure, grid, (x, at + 20), detail, _DETAIL, grid.cell_width)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # a name in a script the font lacks
        canvas.draw()
    sheet = np.array(np.asarray(canvas.buffer_rgba())[..., :3])
    for index, cell in enumerate(cells):
        x, y = grid.place(index)
        pixels = np.rint(np.clip(np.nan_to_num(cell.picture), 0, 1) * 255).astype(np.uint8)
        # Pictures are copied in after the drawing, so that their pixels are not resampled.
        down = grid.picture_height - pixels.shape[0]
        across = (grid.cell_width - pixels.shape[1]) // 2
        sheet[y + down : y + down + pixels.shape[0], x + across :][:, : pixels.shape[1]] = pixels
    return sheet


def _font(size: float, weight: str = "normal") -> Any:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family="DejaVu Sans", size=size, weight=weight)


def _text_width(words: str, font: Any) -> float:
    """The width of a line in pixels."""
    from matplotlib.textpath import TextPath

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")
        path = TextPath((0, 0), words.replace("$", "S"), prop=font)
    return float(path.get_extents().width) * 100 / 72


def _folded(text: str, room: int) -> list[str]:
    """The lines of a subheading, broken at double spaces to fit a width of `room` pixels."""
    font = _font(_SUBHEADING_POINTS)
    lines = []
    for whole in text.splitlines():
        line = ""
        for part in re.split(r"(?<=\S)(?=  \S)", whole):
            if line and _text_width(" ".join((line + part).split()), font) > room:
                lines.append(line.strip())
                line = ""
            line += part
        lines.append(line.strip())
    return lines


def _text(
    figure: Any, grid: _Grid, place: tuple[int, int], text: str, style: _Style, room: int
) -> None:
    """Draw text from a point on its baseline, shortened in the middle if it is too long."""
    x, baseline = place
    font = _font(style.size, style.weight)
    line = " ".join(text.split())
    keep = len(line)
    while keep > 4 and _text_width(line, font) > room:
        keep -= max(1, keep // 12)
        whole = " ".join(text.split())
        line = f"{whole[: keep - keep // 2]}…{whole[len(whole) - keep // 2 :]}"
    figure.text(
        x / grid.width,
        1 - baseline / grid.height,
        line,
        color=style.colour,
        fontproperties=font,
        va="baseline",
        parse_math=False,
    )


def _strip(figure: Any, grid: _Grid, x: int, y: int, levels: LumaLevels) -> None:
    """Draw the level strip under a picture: a bar and the notch of the median on a track."""
    from matplotlib.patches import Rectangle

    def box(left: float, right: float, top: int, height: int, colour: str) -> None:
        figure.add_artist(
            Rectangle(
                ((x + left * grid.cell_width) / grid.width, 1 - (top + height) / grid.height),
                max(1.0, (right - left) * grid.cell_width) / grid.width,
                height / grid.height,
                transform=figure.transFigure,
                facecolor=colour,
                linewidth=0,
                antialiased=False,
            )
        )

    low, median, high = np.clip([levels.low, levels.median, levels.high], 0, 1)
    box(0, 1, y, 6, _TRACK)
    box(float(low), float(high), y, 6, _BAR)
    notch = 1.5 / grid.cell_width
    box(float(median) - notch, float(median) + notch, y - 2, 10, _INK)
