"""Identify: name what is inside an unknown LUT.

Names here may change with any version, unless a page of the manual imports them.
"""

from lutbench.identification.result import Candidate, Identification, Look, SameAs, Side, Tone
from lutbench.identification.search import identify

__all__ = ["Candidate", "Identification", "Look", "SameAs", "Side", "Tone", "identify"]
