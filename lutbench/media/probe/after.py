"""Whether a monitor changes the picture after the LUT, as far as a grab of its output shows it.

Along green, at full red and no blue, the probe LUT is the identity and gives grey. The line in the
row on controls lies where the LUT gets `LINE_SIGNAL`, whatever comes before it. So the strip at the
line's place shows what becomes of that after the LUT.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.media.probe.board import LINE_SIGNAL, ORDER_COLOUR, box_of, rows
from lutbench.media.probe.draw import word_mask
from lutbench.model.signal import Range
from lutbench.model.transforms import Array

BENT_SIGNAL = 0.03
"""Signal by which a level may be off: the line is read to 0.01, the strip to 0.01, and 8-bit
rounding before the LUT moves either by up to 0.01."""

PALER_SHARE = 0.1
"""Share of saturation that the orange word may lose or gain: blurred chroma takes up to 0.06."""

JUDGED_SIGNAL = (0.1, 0.9)
"""Signal between which the strip is judged: codes that are cut at legal black or white bend its
ends, which is the answer of another row."""

FINE_SHARE = 0.45
"""Of the board's width: in a narrower grab, subsampled chroma takes a fifth of a word's colour."""

EDGE_PX = 6
"""Pixels of the board at the edges of fields that blur may mix with what is beside them."""

ENDS_SIGNAL = ((0.0, 1.0), (16 / 255, 235 / 255))
"""Signal of black and white in a grab that was recorded in full and in legal range."""


@dataclass(frozen=True)
class OutputSeen:
    """What a grab shows.

    `strip` is the smooth strip, shape (m, 3), with the board's black at 0 and white at 1; `orange`
    the word on channels on the same scale, where its colour tells. `black` and `white` are
    levels of the grab as it came, and `line_at` is the signal at which the line is.
    """

    strip: Array
    orange: Array | None
    black: float
    white: float
    line_at: float | None


def seen_on(
    board: Array,
    white: float,
    size: int,
    codes: Range,
    line_at: float | None,
    *,
    has_hue: bool,
) -> OutputSeen:
    """What a board shows, shape (lines, pixels, 3), whose brightest level was `white`.

    `has_hue` says whether the word on channels has its own colour, not blurred.
    """
    from scipy.ndimage import binary_erosion

    questions, letters = rows(size, codes), word_mask(size, codes)
    at: dict[str, int] = {each.key: number for number, each in enumerate(questions)}

    def cut(key: str, part: int = 0) -> tuple[slice, slice]:
        count = len(questions[at[key]].parts)
        box = box_of(at[key], part, len(questions), count)
        return slice(box.top + EDGE_PX, box.bottom - EDGE_PX), slice(box.left, box.right)

    word = cut("channels")
    around = binary_erosion(~letters[word], iterations=EDGE_PX)
    black = float(np.median(board[word][around].mean(axis=-1)))
    scaled = (board - black) / (1 - black)
    ink = binary_erosion(letters[word], iterations=EDGE_PX // 2)
    orange = np.median(scaled[word][ink], axis=0) if has_hue else None
    strip = np.median(scaled[cut("smooth")], axis=0)
    return OutputSeen(np.asarray(strip), orange, black * white, white, line_at)


def changes(seen: OutputSeen) -> list[str]:
    """What is changed besides the LUT, in words; empty where nothing is."""
    found = _of_tone(seen.strip.mean(axis=-1), seen.line_at)
    found = found or _of_colour(seen.strip, seen.orange)
    ends = np.array([seen.black, seen.white])
    if min(np.abs(ends - each).max() for each in ENDS_SIGNAL) > BENT_SIGNAL:
        found.append(
            f"black comes out at {100 * seen.black:.0f} % and white at {100 * seen.white:.0f} % of "
            "the grab's codes, which fits neither full nor legal range"
        )
    return found


def _of_tone(levels: Array, line_at: float | None) -> list[str]:
    run = np.linspace(0, 1, len(levels))
    if line_at is not None:
        after = float(np.interp(line_at, run, levels))
        if abs(after - LINE_SIGNAL) > BENT_SIGNAL:
            return [f"the middle of the scale leaves the LUT at 50 % and comes out at "
                    f"{100 * after:.0f} %"]  # fmt: skip
        if abs(line_at - LINE_SIGNAL) > BENT_SIGNAL:
            return [f"the LUT gets 50 % where the signal is at {100 * line_at:.0f} %: tone is "
                    "changed before it"]  # fmt: skip
    judged = (run > JUDGED_SIGNAL[0]) & (run < JUDGED_SIGNAL[1])
    off = np.abs(levels - run) * judged
    worst = int(np.argmax(off))
    if off[worst] <= BENT_SIGNAL:
        return []
    return [f"{100 * run[worst]:.0f} % comes out at {100 * levels[worst]:.0f} %, and whether that "
            "happens before or after the LUT cannot be told"]  # fmt: skip


def _of_colour(strip: Array, orange: Array | None) -> list[str]:
    tint = np.median(strip - strip.mean(axis=-1, keepdims=True), axis=0)
    if np.abs(tint).max() > BENT_SIGNAL:
        return ["greys are tinted after the LUT"]
    if orange is None or orange.max() <= 0:
        return []
    drawn = 1 - min(ORDER_COLOUR) / max(ORDER_COLOUR)
    share = (1 - float(orange.min() / orange.max())) / drawn
    if abs(share - 1) <= PALER_SHARE:
        return []
    word = "paler" if share < 1 else "more saturated"
    return [f"colours are {word} after the LUT ({100 * share:.0f} % of their saturation)"]
