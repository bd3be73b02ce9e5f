"""The board: rows of words, each in a colour that the probe LUT makes white if the word is true.

A row asks one question about a monitor. Its words are the possible answers, each in its own
colour on a background of nearly the same colour. The probe LUT (`lutbench.media.probe.lattice`)
makes nearly everything black. A word lights up where the monitor maps its colour to a lit node,
which happens only if it reads, orders and interpolates as the word says.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import Literal

from lutbench.errors import LutbenchError
from lutbench.model.signal import Range

Triple = tuple[float, float, float]

SIZES = (17, 33, 65)
"""Nodes along an edge of the probe LUT: the sizes that monitors load."""

WIDTH_PX = 1920
"""Width of the board in pixels: most monitors show it without scaling."""

HEIGHT_PX = 1080
"""Height of the board in pixels, for the same reason."""

FRAME_PX = 36
"""Pixels from the edge of the picture to the white frame, by which a grab is measured."""

LINE_PX = 8
"""Thickness of the white frame in pixels: two are left in a grab of a quarter of the width."""

TITLE_PX = 330
"""Width of the question before its answers, in pixels."""

BLACK: Triple = (0.0, 0.0, 0.0)
"""Signal of an unlit field."""

WHITE: Triple = (1.0, 1.0, 1.0)
"""Signal of a lit field."""

RANGE_NODE_SIGNAL = 7 / 8
"""Red signal of the lit node of the row on range: full and legal reading differ most here."""

ORDER_NODE: Triple = (0.75, 0.5, 0.25)
"""Signal of the lit node of the row on channels: three levels, different in each order."""

ORDER_COLOUR: Triple = (1.0, 0.75, 0.45)
"""Signal that comes out at that node: orange. If the columns of a file are read in another order,
the word has another colour; all are so bright that a word is lit in any order."""

CUT_BLACK_SIGNAL = 0.045
"""Signal below legal black, which is 16 of 255 in full-range codes."""

CUT_WHITE_SIGNAL = 0.955
"""Signal above legal white, which is 235 of 255 in full-range codes."""

LINE_SIGNAL = 0.5
"""Neutral signal that lights up as a line in the ramp of the row on controls."""


@dataclass(frozen=True)
class Word:
    """A word, its colour and its background, as signal that the monitor should read.

    `codes` is the range of the word's code values, where the word itself tests the range.
    """

    text: str
    ink: Triple
    ground: Triple
    codes: Range | None = None


@dataclass(frozen=True)
class Strip:
    """A smooth ramp from one colour to another.

    `teeth` are the numbers of steps that the combs above and below it mark; empty for none.
    """

    start: Triple
    end: Triple
    teeth: tuple[float, ...] = ()


@dataclass(frozen=True)
class Row:
    """A question, and its answers."""

    key: Literal["range", "channels", "nodes", "between", "smooth", "bits", "ends", "controls"]
    title: str
    parts: tuple[Word | Strip, ...]


@dataclass(frozen=True)
class Rectangle:
    """A rectangle in pixels of the board."""

    left: int
    top: int
    right: int
    bottom: int


def check_size(size: int) -> int:
    """`size`, which a probe LUT must be able to have."""
    if size not in SIZES:
        raise LutbenchError(
            f"a probe LUT of {size} nodes", accepted=", ".join(str(each) for each in SIZES)
        )
    return size


def rows(size: int, codes: Range) -> tuple[Row, ...]:
    """The rows of the board for a probe LUT of `size` nodes, in full- or legal-range codes."""
    cells = check_size(size) - 1
    return (
        Row("range", "codes read as", _range_words()),
        Row("channels", "channels in order", _order_words()),
        Row("nodes", "nodes in use", _node_words(cells)),
        Row("between", "between nodes", _interpolation_words(cells)),
        Row("smooth", "no steps here", (Strip((1.0, 0.0, 0.0), (1.0, 1.0, 0.0)),)),
        Row("bits", "bits", (_bits_strip(cells, codes),)),
        *((Row("ends", "not cut", _end_words()),) if codes == "full" else ()),
        Row("controls", "controls", (Strip((0.15,) * 3, (0.85,) * 3, (10.0,)),)),
    )


def _range_words() -> tuple[Word, ...]:
    # The backgrounds are on the side away from the colour that the other reading would give the
    # word, so that a blurred edge does not pass through the lit node.
    at = RANGE_NODE_SIGNAL
    return (
        Word("FULL", (at, 0.0, 0.0), (1.0, 0.0, 0.0), "full"),
        Word("LEGAL", (at, 0.0, 0.0), (0.5, 0.0, 0.0), "legal"),
    )


def _order_words() -> tuple[Word, ...]:
    """A word for each order of channels; its colour becomes the lit node in that order."""
    words = []
    for order in permutations("RGB"):
        ink = [0.0] * 3
        for place, channel in enumerate(order):
            ink["RGB".index(channel)] = ORDER_NODE[place]
        words.append(Word("".join(order), (ink[0], ink[1], ink[2]), BLACK))
    return tuple(words)


def node_places(cells: int) -> dict[int, float]:
    """For each number of nodes, the blue of a node that coarser grids do not have."""
    return {
        cells + 1: (cells * 13 // 16 | 1) / cells,
        cells // 2 + 1: 2 * ((cells // 2 * 5 // 8) | 1) / cells,
        cells // 4 + 1: 4 * ((cells // 4 * 3 // 8) | 1) / cells,
    }


def _node_words(cells: int) -> tuple[Word, ...]:
    return tuple(
        Word(str(nodes), (0.0, 0.0, blue), (0.0, 0.0, blue - 2 / cells))
        for nodes, blue in node_places(cells).items()
    )


def saddles(cells: int) -> tuple[tuple[int, int], tuple[int, int], tuple[int, int]]:
    """Red and green of the two cells that distinguish interpolations, and of a mid grey area."""
    quarter = cells // 4
    return (quarter, quarter), (quarter, 3 * quarter), (cells * 5 // 8, cells * 5 // 8)


def _interpolation_words(cells: int) -> tuple[Word, ...]:
    along, across, plain = saddles(cells)

    def middle(cell: tuple[int, int], by: float = 0.5) -> Triple:
        return ((cell[0] + by) / cells, (cell[1] + by) / cells, 1.0)

    dark = ((across[0] - 2) / cells, across[1] / cells, 1.0)
    return (
        Word("TETRAHEDRAL", middle(along), middle(plain, 1.0)),
        Word("TRILINEAR", middle(across), dark),
    )


def _bits_strip(cells: int, codes: Range) -> Strip:
    low, high = cells // 2 / cells, (cells // 2 + 1) / cells
    coarse = (255 if codes == "full" else 219) / cells
    return Strip((1.0, 1.0, low), (1.0, 1.0, high), (coarse, 4 * coarse))


def _end_words() -> tuple[Word, ...]:
    return (
        Word("BLACK", (0.0, CUT_BLACK_SIGNAL, 0.0), BLACK),
        Word("WHITE", (1.0, CUT_WHITE_SIGNAL, 1.0), WHITE),
    )


def box_of(row: int, part: int, count_rows: int, count_parts: int) -> Rectangle:
    """The rectangle of a part of a row."""
    left, top = FRAME_PX + LINE_PX, FRAME_PX + LINE_PX
    high = (HEIGHT_PX - 2 * top) / count_rows
    wide = (WIDTH_PX - 2 * left - TITLE_PX) / count_parts
    start = left + TITLE_PX + part * wide
    return Rectangle(
        round(start + 8), round(top + row * high + 8),
        round(start + wide - 8), round(top + (row + 1) * high - 8),
    )  # fmt: skip
