"""Identify: name what is inside an unknown LUT."""

from lutbench.analysis.identify.result import Candidate, Identification, Look, SameAs, Side, Tone
from lutbench.analysis.identify.search import identify

__all__ = ["Candidate", "Identification", "Look", "SameAs", "Side", "Tone", "identify"]
