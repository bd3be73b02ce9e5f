"""Drawing the board as 16-bit code values."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from lutbench.media.probe.board import (
    FRAME_PX,
    HEIGHT_PX,
    LINE_PX,
    TITLE_PX,
    WHITE,
    WIDTH_PX,
    Rectangle,
    Row,
    Strip,
    Word,
    box_of,
    rows,
)
from lutbench.media.still.still import Still
from lutbench.model.signal import Range, full_scale_from_signal
from lutbench.model.transforms import Array, Mask

COMB_PX = 16
"""Height of a comb above or below a strip, in pixels."""


def draw_board(size: int, codes: Range) -> Still:
    """The board for a probe LUT of `size` nodes; 65535 is the highest code.

    Labels have the highest code, so that they are white whichever range the monitor reads.
    """
    questions = rows(size, codes)
    picture = np.zeros((HEIGHT_PX, WIDTH_PX, 3))
    letters = word_mask(size, codes)
    _frame(picture)
    for number, row in enumerate(questions):
        for index, part in enumerate(row.parts):
            box = box_of(number, index, len(questions), len(row.parts))
            place = (slice(box.top, box.bottom), slice(box.left, box.right))
            if isinstance(part, Word):
                signal_range = codes if part.codes is None else part.codes
                ink, ground = (_codes(each, signal_range) for each in (part.ink, part.ground))
                picture[place] = np.where(letters[place][..., None], ink, ground)
            else:
                _strip(picture, part, box, codes)
        place = _title_place(number, len(questions))
        picture[place] = letters[place][..., None]
    return Still(np.rint(picture * 65535).astype(np.uint16), ("R", "G", "B"), "16")


def _codes(signal: Any, signal_range: Range) -> Array:
    """Signal as a share of the highest code."""
    value = np.asarray(signal, dtype=np.float64)
    return value if signal_range == "full" else np.asarray(full_scale_from_signal(value))


@cache
def word_mask(size: int, codes: Range) -> Mask:
    """The pixels of the letters on the board, shape (height, width)."""
    return _letters(rows(size, codes))


def _frame(picture: Array) -> None:
    inner = (
        slice(FRAME_PX + LINE_PX, HEIGHT_PX - FRAME_PX - LINE_PX),
        slice(FRAME_PX + LINE_PX, WIDTH_PX - FRAME_PX - LINE_PX),
    )
    picture[FRAME_PX : HEIGHT_PX - FRAME_PX, FRAME_PX : WIDTH_PX - FRAME_PX] = WHITE
    picture[inner] = 0.0


def _title_place(row: int, count: int) -> tuple[slice, slice]:
    box = box_of(row, 0, count, 1)
    return slice(box.top, box.bottom), slice(FRAME_PX + LINE_PX, FRAME_PX + LINE_PX + TITLE_PX)


def _strip(picture: Array, part: Strip, box: Rectangle, codes: Range) -> None:
    run = np.linspace(0, 1, box.right - box.left)[:, None]
    colours = (
        _codes(np.array(part.start), codes) * (1 - run) + _codes(np.array(part.end), codes) * run
    )
    gap = COMB_PX + 4 if part.teeth else 0
    picture[box.top + gap : box.bottom - gap, box.left : box.right] = colours
    for teeth, top in zip(part.teeth, (box.top, box.bottom - COMB_PX), strict=False):
        marks = np.floor(run[:, 0] * teeth * (1 - 1e-9)) % 2 == 0
        picture[top : top + COMB_PX, box.left : box.right] = marks[:, None]


def _letters(questions: tuple[Row, ...]) -> Mask:
    """All words and titles, not antialiased: a mixed colour at an edge could light up too."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_PX / 100, HEIGHT_PX / 100), dpi=100, facecolor="black")
    canvas = FigureCanvasAgg(figure)

    def put(text: str, x: float, y: float, size: float, align: str, weight: str) -> None:
        figure.text(
            x / WIDTH_PX, 1 - y / HEIGHT_PX, text, color="white", fontsize=size, ha=align,
            va="center", fontweight=weight, antialiased=False, family="DejaVu Sans",
        )  # fmt: skip

    for number, row in enumerate(questions):
        whole = box_of(number, 0, len(questions), 1)
        middle = (whole.top + whole.bottom) / 2
        put(row.title, FRAME_PX + LINE_PX + 20, middle, 22, "left", "normal")
        for index, part in enumerate(row.parts):
            if isinstance(part, Word):
                box = box_of(number, index, len(questions), len(row.parts))
                put(part.text, (box.left + box.right) / 2, middle, 44, "center", "bold")
    canvas.draw()
    return np.asarray(np.asarray(canvas.buffer_rgba())[..., 0] > 127)
