"""How large a difference is, in a word that the eye knows."""

from __future__ import annotations

# In just noticeable differences. One is the unit of ΔE ITP by Recommendation ITU-R BT.2124,
# and of ΔE 2000 by common practice. The two above it are common practice: three is seen side
# by side by most people, ten at a glance and without anything beside it.
BOUNDS = ((1.0, "invisible"), (3.0, "just visible"), (10.0, "clearly visible"))
BEYOND = "another picture"


def size_word(difference: float) -> str:
    """The word for a difference in ΔE 2000 or ΔE ITP.

    >>> [size_word(each) for each in (0.4, 2.0, 5.0, 30.0)]
    ['invisible', 'just visible', 'clearly visible', 'another picture']
    """
    return next((word for bound, word in BOUNDS if difference < bound), BEYOND)
