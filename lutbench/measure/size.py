"""How large a difference is to the eye, in a word."""

from __future__ import annotations

BOUNDS = ((1.0, "invisible"), (3.0, "just visible"), (10.0, "clearly visible"))
"""Upper bounds in ΔE. One is a just noticeable difference: of ΔE ITP by Recommendation ITU-R
BT.2124, of ΔE 2000 by common practice. The others are common practice: most people see three side
by side, and ten at a glance without a comparison."""

BEYOND = "another picture"
"""The word for larger differences."""


def size_word(difference: float) -> str:
    """The word for a difference in ΔE 2000 or ΔE ITP.

    >>> [size_word(each) for each in (0.4, 2.0, 5.0, 30.0)]
    ['invisible', 'just visible', 'clearly visible', 'another picture']
    """
    return next((word for bound, word in BOUNDS if difference < bound), BEYOND)
