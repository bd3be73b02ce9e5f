"""Reading a board from a grab of a monitor's output: which words are lit, and what that means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.probe.after import FINE_SHARE, changes, seen_on
from lutbench.media.probe.board import (
    FRAME_PX,
    HEIGHT_PX,
    SIZES,
    WIDTH_PX,
    Rectangle,
    Row,
    Strip,
    Word,
    box_of,
    rows,
)
from lutbench.media.probe.draw import COMB_PX, word_mask
from lutbench.model.signal import Range
from lutbench.model.transforms import Array
from lutbench.results import PlainData, Result

LIT_SHARE = 0.35
"""Contrast of a word to its background, as a share of white, from which it is lit. Rounding to
8-bit Y'CbCr leaves a true word at 0.6 or more; a false one is at 0."""

FAINT_SHARE = 0.12
"""Contrast below which a word is dark; between the two, a coarser grid has part of its node."""

MOVED_SIGNAL = 0.02
"""Signal by which the line must move to count as moved: twice the error of its reading."""

BETTER_FIT_SHARE = 0.3
"""Share of the lit pixels by which the words of another size must fit better: its own fit to 0.9,
and those of another share about half of their pixels."""

BRIGHT_FRAME_SHARE = 0.7
"""Share of each side of the frame that must be bright for a board to be found."""


@dataclass(frozen=True)
class Answer(PlainData):
    """The answer of a row: what was found, whether it is sound, and advice.

    `sound` is None where the row gives no answer.
    """

    KEYS = ("question=key", "found", "sound", "advice?")

    key: str
    found: str
    sound: bool | None
    advice: str = ""


@dataclass(frozen=True, repr=False)
class ProbeReading(Result):
    """The answers about a monitor from a grab of the board."""

    KEYS = ("schema", "size", "codes", "sound", "answers", "line_at")
    schema: ClassVar[Literal[1]] = 1

    size: int
    codes: Range
    """The board that was read."""
    answers: tuple[Answer, ...]
    line_at: float | None
    """The signal at which the line in the ramp is."""

    def answer(self, key: str) -> Answer:
        """The answer to a question; LutbenchError when the board does not ask it."""
        for each in self.answers:
            if each.key == key:
                return each
        raise LutbenchError(f"this board does not ask for {key!r}")

    @property
    def sound(self) -> bool:
        """Whether no answer is a fault."""
        return all(each.sound is not False for each in self.answers)


def read_board(picture: NDArray[Any], size: int, codes: Range, where: str = "") -> ProbeReading:
    """Read the board in `picture`, signal of shape (height, width, 3).

    It may be scaled and moved, but not rotated or seen at an angle: a recording or a grab of
    the monitor's output, not a photograph.

    Raises LutbenchError when no frame is found.
    """
    coloured, white, scale = _straightened(np.asarray(picture, dtype=np.float64), where)
    straight = coloured.mean(axis=-1)
    questions = rows(size, codes)
    letters = word_mask(size, codes)
    if (drawn := _size_drawn(straight, size, codes)) != size:
        raise LutbenchError(
            f"the board is for a probe LUT of {drawn} nodes, not {size}",
            where=where,
            accepted=f"size={drawn}",
        )
    answers, line_at = [], None
    for number, row in enumerate(questions):
        boxes = [box_of(number, k, len(questions), len(row.parts)) for k in range(len(row.parts))]
        if row.key == "controls":
            line_at = _line(straight, boxes[0], row)
        elif isinstance(row.parts[0], Word):
            lit = [_lit(straight, letters, box) for box in boxes]
            answers.append(_judged(row, lit, codes))
            if row.key == "channels" and answers[-1].sound is not None:
                answers[-1] = _of_columns(
                    answers[-1], coloured, letters, boxes[int(np.argmax(lit))]
                )
        else:
            answers.append(_steps(straight, boxes[0], row, size))
    sound = {each.key: each.sound for each in answers}
    if sound["smooth"]:
        has_hue = sound["channels"] is True and scale > FINE_SHARE
        seen = seen_on(coloured, white, size, codes, line_at, has_hue=has_hue)
        answers.append(_of_output(changes(seen)))
    if answers[0].sound is not True:
        # Channels in another order also darken the first row: their answer is still right.
        later = "not judged until the first rows are right"
        answers = [
            each if each.key in ("range", "channels") else Answer(each.key, later, None)
            for each in answers
        ]
    if not any(each.sound is not None for each in answers):
        raise LutbenchError(
            "no word is lit: the probe LUT is not loaded, or the picture is not a board",
            where=where,
            accepted="a grab of full.png or legal.png through probe.cube",
        )
    return ProbeReading(size, codes, tuple(answers), line_at)


def _size_drawn(picture: Array, size: int, codes: Range) -> int:
    """The size whose words the row of nodes shows, where it shows some; else `size`."""
    number = next(k for k, row in enumerate(rows(size, codes)) if row.key == "nodes")
    box = box_of(number, 0, len(rows(size, codes)), 1)
    cut = (slice(box.top, box.bottom), slice(box.left, box.right))
    shown = picture[cut] > LIT_SHARE
    if not shown.any():
        return size

    def likeness(each: int) -> float:
        """The share of lit pixels that are letters of that board."""
        return float(word_mask(each, codes)[cut][shown].mean())

    best = max(SIZES, key=likeness)
    return best if likeness(best) > likeness(size) + BETTER_FIT_SHARE else size


def line_in(picture: NDArray[Any], size: int, codes: Range, where: str = "") -> float | None:
    """The signal at which the line in the ramp of the board is; None where there is none.

    Raises LutbenchError when no frame is found.
    """
    questions = rows(size, codes)
    straight = _straightened(np.asarray(picture, dtype=np.float64), where)[0].mean(axis=-1)
    return _line(straight, box_of(len(questions) - 1, 0, len(questions), 1), questions[-1])


def controls_answer(before: float | None, after: float | None) -> Answer:
    """Whether the LUT comes before or after the monitor's own controls.

    Both are the signal at which the line is, `after` with the monitor's contrast or brightness
    changed. Where that moves the line, the controls act on the input of the LUT.
    """
    if before is None or after is None:
        return Answer(
            "controls", "the line in the ramp cannot be seen", None, "turn the control less"
        )
    moved = abs(before - after)
    if moved > MOVED_SIGNAL:
        return Answer(
            "controls",
            f"the LUT comes after the monitor's controls (the line moved by {100 * moved:.0f} %)",
            False,
            "leave contrast, brightness, saturation and white balance of the monitor at their "
            "neutral settings: they change the input of the LUT",
        )
    return Answer("controls", "the LUT comes before the monitor's controls", True)


def _straightened(picture: Array, where: str) -> tuple[Array, float, float]:
    """The board cropped to its frame, in its own pixels, white at 1: (lines, pixels, 3); white as
    it came; and the width that it came in, as a share of the board's own."""
    if picture.ndim != 3 or picture.shape[2] < 3 or min(picture.shape[:2]) < 270:
        raise LutbenchError("is too small for a board", where=where, accepted="270 lines or more")
    picture = np.clip(np.nan_to_num(picture[..., :3]), 0, None)
    grey = picture.mean(axis=-1)
    top = float(np.quantile(grey, 0.999))
    bright = grey > max(0.5 * top, 0.05)
    across, down = np.flatnonzero(bright.any(axis=0)), np.flatnonzero(bright.any(axis=1))
    if not len(across) or not len(down):
        raise LutbenchError("is dark: it shows no board", where=where)
    left, right, high, low = across[0], across[-1] + 1, down[0], down[-1] + 1
    sides = (
        bright[high:low, left : left + 3].any(axis=1).mean(),
        bright[high:low, right - 3 : right].any(axis=1).mean(),
        bright[high : high + 3, left:right].any(axis=0).mean(),
        bright[low - 3 : low, left:right].any(axis=0).mean(),
    )
    if min(sides) < BRIGHT_FRAME_SHARE:
        raise LutbenchError(
            "the white frame of the board is not found",
            where=where,
            accepted="a grab that shows the whole board, not rotated and not at an angle",
        )
    columns = left + (np.arange(WIDTH_PX) - FRAME_PX + 0.5) * (right - left) / (
        WIDTH_PX - 2 * FRAME_PX
    )
    lines = high + (np.arange(HEIGHT_PX) - FRAME_PX + 0.5) * (low - high) / (
        HEIGHT_PX - 2 * FRAME_PX
    )
    x = np.clip(columns.astype(int), 0, picture.shape[1] - 1)
    y = np.clip(lines.astype(int), 0, picture.shape[0] - 1)
    scale = float(right - left) / (WIDTH_PX - 2 * FRAME_PX)
    return np.asarray(picture[np.ix_(y, x)] / max(top, 1e-6)), top, scale


def _lit(picture: Array, letters: NDArray[np.bool_], box: Rectangle) -> float:
    """The contrast of a word to its background, from medians away from its edges."""
    from scipy.ndimage import binary_erosion

    cut = (slice(box.top, box.bottom), slice(box.left, box.right))
    inside, ground = letters[cut], ~letters[cut]
    ink = binary_erosion(inside, iterations=3)
    around = binary_erosion(ground, iterations=6)
    shown = picture[cut]
    return float(np.median(shown[ink]) - np.median(shown[around]))


def _judged(row: Row, lit: list[float], codes: Range) -> Answer:
    words = [part.text for part in row.parts if isinstance(part, Word)]
    levels = [abs(each) for each in lit] if row.key == "ends" else lit
    bright = [word for word, level in zip(words, levels, strict=True) if level >= LIT_SHARE]
    faint = [
        word for word, level in zip(words, levels, strict=True) if FAINT_SHARE <= level < LIT_SHARE
    ]
    return _ANSWERS[row.key](words, bright, faint, codes)


def _of_output(changed: list[str]) -> Answer:
    if not changed:
        return Answer("output", "the picture is changed by the LUT alone", True)
    return Answer(
        "output", f"the picture is changed by more than the LUT: {'; '.join(changed)}", False,
        "switch off what the monitor or the recorder does besides: picture modes, its own LUTs, "
        "contrast, saturation, white balance",
    )  # fmt: skip


def _of_range(words: list[str], bright: list[str], faint: list[str], codes: Range) -> Answer:
    if len(bright) != 1:
        return Answer("range", "neither full nor legal", None, "check that probe.cube is loaded")
    found = bright[0].lower()
    if found == codes:
        return Answer("range", f"codes are read as {found} range", True)
    return Answer(
        "range", f"codes are read as {found} range", False,
        f"use {found}.png for the other rows; LUTs for this monitor take {found} range",
    )  # fmt: skip


def _of_channels(words: list[str], bright: list[str], faint: list[str], codes: Range) -> Answer:
    if len(bright) != 1:
        return Answer("channels", "no order of channels", None, "answer the row on codes first")
    sound = bright[0] == "RGB"
    advice = "" if sound else "the monitor reads LUT files in another order: convert them for it"
    return Answer("channels", f"channels in the order {bright[0]}", sound, advice)


def _of_columns(
    answer: Answer, picture: Array, letters: NDArray[np.bool_], box: Rectangle
) -> Answer:
    """The answer of the row on channels, with the channels for which a file's columns are taken."""
    cut = (slice(box.top, box.bottom), slice(box.left, box.right))
    colour = np.median(picture[cut][letters[cut]], axis=0)
    order = ["RGB"[each] for each in np.argsort(-colour)]
    if order == ["R", "G", "B"]:
        return answer
    columns = f"the columns of a file taken for {', '.join(order)}"
    return Answer(
        "channels", f"{answer.found}, and {columns}", False,
        "the monitor reads LUT files in another order: convert them for it",
    )  # fmt: skip


def _of_nodes(words: list[str], bright: list[str], faint: list[str], codes: Range) -> Answer:
    if not bright:
        return Answer("nodes", "no count of nodes", None, "answer the row on codes first")
    most = max(int(word) for word in bright)
    if most == int(words[0]) and not faint:
        return Answer("nodes", f"all {most} nodes are in use", True)
    between = "" if not faint else ", and part of finer ones: the monitor resamples to its own size"
    return Answer(
        "nodes", f"of {words[0]} nodes {most} are in use{between}", False,
        f"make LUTs for this monitor with {most} nodes, so that you see what it shows",
    )  # fmt: skip


def _of_between(words: list[str], bright: list[str], faint: list[str], codes: Range) -> Answer:
    if len(bright) != 1:
        return Answer("between", "neither tetrahedral nor trilinear", None)
    found = bright[0].lower()
    return Answer("between", f"{found} interpolation", True)


def _of_ends(words: list[str], bright: list[str], faint: list[str], codes: Range) -> Answer:
    cut = [word.lower() for word in words if word not in bright]
    if not cut:
        return Answer("ends", "neither black nor white is cut", True)
    return Answer(
        "ends", f"{' and '.join(cut)} cut at the end of legal range", False,
        "the path to the monitor is legal range: set player, cable and input alike",
    )  # fmt: skip


_ANSWERS = {
    "range": _of_range,
    "channels": _of_channels,
    "nodes": _of_nodes,
    "between": _of_between,
    "ends": _of_ends,
}


def _profile(picture: Array, box: Rectangle, part: Strip) -> Array:
    """The levels along a strip, without the combs."""
    gap = COMB_PX + 8 if part.teeth else 6
    return np.asarray(
        np.median(picture[box.top + gap : box.bottom - gap, box.left : box.right], axis=0)
    )


def _steps(picture: Array, box: Rectangle, row: Row, size: int) -> Answer:
    part = row.parts[0]
    assert isinstance(part, Strip)
    levels = _profile(picture, box, part)
    rise = float(levels[-12:].mean() - levels[:12].mean())
    if rise < LIT_SHARE:
        return Answer(row.key, "the strip is dark", None, "answer the row on codes first")
    if row.key == "smooth":
        return _smooth(levels, size)
    if _steps_by(levels, part.teeth[0]):
        return Answer(
            "bits", "8 bits reach the LUT", False, "10 bits need a 10-bit path all the way"
        )
    return Answer("bits", "10 bits or more reach the LUT", True)


def _steps_by(levels: Array, steps: float) -> bool:
    """Whether levels from 0 to 1 are a staircase of so many steps.

    A smooth ramp is 1/4 of a step off a staircase on average, and one of four times as many steps
    nearly as much. Half of that separates both from the staircase itself, which is 0 off.
    """
    run = np.linspace(0, 1, len(levels))
    best = np.inf
    for shift in np.linspace(0, 1, 16, endpoint=False):
        stair = np.floor(run * steps + shift)
        means = {each: levels[stair == each].mean() for each in np.unique(stair)}
        inside = np.array([means[each] for each in stair])
        best = min(best, float(np.abs(levels - inside).mean()))
    return best < 0.125 / steps


def _smooth(levels: Array, size: int) -> Answer:
    # Without interpolation, the levels step from node to node, of all nodes or of fewer.
    cells = size - 1
    if any(_steps_by(levels, each) for each in (cells, cells // 2, cells // 4)):
        return Answer(
            "smooth", "steps: values between nodes are not interpolated", False,
            "no LUT looks right on this monitor: load the LUT elsewhere",
        )  # fmt: skip
    return Answer("smooth", "smooth: values between nodes are interpolated", True)


def _line(picture: Array, box: Rectangle, row: Row) -> float | None:
    """The signal at which the line in the ramp is; None where there is none."""
    part = row.parts[0]
    assert isinstance(part, Strip)
    levels = _profile(picture, box, part)
    bright = np.flatnonzero(levels > max(0.5 * levels.max(), FAINT_SHARE))
    if not len(bright) or len(bright) > len(levels) / 3:
        return None
    share = float(np.mean(bright)) / (len(levels) - 1)
    return part.start[0] + share * (part.end[0] - part.start[0])
