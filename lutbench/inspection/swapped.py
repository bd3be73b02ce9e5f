"""Where red and blue have changed places: in the order of the rows, or in the channels.

Both give a table whose red follows the blue input. Putting back the wrong one leaves a table
whose greys and pure tones look right, and whose colours are wrong. So the table is put back in
both ways, and `identify` says which of the two is a conversion.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np

from lutbench.algebra.rewritten import axes_reversed, channels_reordered
from lutbench.errors import LutbenchError
from lutbench.inspection import lattice as measures
from lutbench.inspection.subject import CODES, Subject
from lutbench.tables.lut import Lut, Lut3D, ShaperLut3D

Swapped = Literal["rows", "channels", "unclear"]

EXPLAINED_CODES = 0.5
"""10-bit codes: the rounding of a table to 10 bits; a table put back wrongly is off by several."""

MOST_EXPLAINED_CODES = 10.0
"""10-bit codes that 95 % of the nodes are off at most: right explanations came to 3. If half of a
table is clipped, a table put back wrongly may fit there, and is off by hundreds elsewhere."""

SAME = 1.0 / CODES
"""Signal: one 10-bit code; if the two cures differ by less, either is right."""

CLEAR_RATIO = 4.0
"""How many times better another order must fit to be believed as it is: two channels that follow
each other twice as strongly as themselves. Compressed gamuts as they should be come to 2."""


def confirmed(subject: Subject, order: tuple[int, int, int]) -> bool:
    """Whether `identify` explains the table in that order, and not as it is."""
    lut = subject.lut
    if not isinstance(lut, Lut3D | ShaperLut3D) or _explained(lut)[0]:
        return False
    if order == measures.REVERSED:
        return bool(_right_ways(lut, _likelier_first(subject)))
    red, green, blue = (int(each) for each in np.argsort(order))
    return bool(_explained(channels_reordered(lut, (red, green, blue)))[0])


def red_and_blue(subject: Subject) -> Swapped:
    """Where red and blue have changed places, in a table in which they have.

    "unclear" where `identify` explains the table put back in both ways, or in neither.
    """
    lut = subject.lut
    if not isinstance(lut, Lut3D | ShaperLut3D):
        return "unclear"
    rows, channels = (_table(_put_back(lut, way)) for way in ("rows", "channels"))
    if np.abs(rows - channels).max() < SAME:
        return "rows"
    right = _right_ways(lut, _likelier_first(subject))
    return right[0] if len(right) == 1 else "unclear"


@lru_cache(maxsize=1)  # `confirmed` and `red_and_blue` ask for the same
def _right_ways(lut: Lut3D | ShaperLut3D, ways: tuple[Swapped, ...]) -> tuple[Swapped, ...]:
    """Those of the ways in which `identify` explains the table."""
    right: list[Swapped] = []
    curve: str | None = None
    for way in ways:
        confidence, curve = _explained(_put_back(lut, way), curve)
        right += [way] if confidence else []
        if confidence == "high":  # no other names explain it, so none explain the other way
            break
    return tuple(right)


def _likelier_first(subject: Subject) -> tuple[Swapped, Swapped]:
    """The two ways: most conversions take more green out of red than out of blue."""
    mixing = measures.channel_response(subject)
    return ("rows", "channels") if mixing[0, 1] >= mixing[2, 1] else ("channels", "rows")


def _put_back(lut: Lut3D | ShaperLut3D, way: Swapped) -> Lut:
    return axes_reversed(lut) if way == "rows" else channels_reordered(lut, measures.REVERSED)


def _explained(lut: Lut, curve: str | None = None) -> tuple[str, str | None]:
    """The confidence of `identify` and the source's curve, if its names explain half of the nodes
    to `EXPLAINED_CODES`, and most of them to `MOST_EXPLAINED_CODES`; else no confidence.

    Each way is the other one with red and blue exchanged before and after it, so the same curves
    explain both, with matrices exchanged likewise. Where the source's `curve` is known from the
    other way, only whether gamuts have that matrix is left to ask.
    """
    from lutbench.identification.search import explanation

    try:
        found = explanation(lut, EXPLAINED_CODES, MOST_EXPLAINED_CODES, curve)
    except LutbenchError:
        return "", None
    if found is None or found.best is None:
        return "", None
    return found.confidence, found.best.source.curve


def _table(lut: Lut) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.asarray(lut.lut.table if isinstance(lut, ShaperLut3D) else lut.table)
