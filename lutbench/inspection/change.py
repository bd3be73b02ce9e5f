"""How large a change a LUT makes: a word for what the eye sees, and its number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.inspection.subject import Subject
from lutbench.measure.delta_e import DELTA_E_NAMES, DeltaE, SizeWord, size_word
from lutbench.measure.difference import measure
from lutbench.measure.view import view_of
from lutbench.model.encoding import Encoding
from lutbench.results import PlainData
from lutbench.tables.lut import lattice
from lutbench.tables.nodes import LARGEST_PIXEL, examined

COLOURS = 9
"""Test colours along an edge of the cube: 729 in all, spread evenly over the LUT's domain."""


@dataclass(frozen=True)
class ChangeMade(PlainData):
    """The difference between input and output, both seen on the same display.

    `p95` is the difference that 95 % of the colours stay under, in `measure`:
    ``delta_e_2000``, or ``delta_e_itp`` for an HDR display.
    """

    KEYS = ("word", "measure", "p95")

    measure: DeltaE
    p95: float

    @property
    def word(self) -> SizeWord:
        """``invisible``, ``just visible``, ``clearly visible`` or ``another picture``."""
        return size_word(self.p95)

    @property
    def words(self) -> str:
        """The word with its number.

        >>> ChangeMade("delta_e_2000", 41.26).words
        'Another picture (ΔE 2000: 95 % of the colours under 41.3)'
        """
        number = f"{DELTA_E_NAMES[self.measure]}: 95 % of the colours under {self.p95:.1f}"
        return f"{self.word[0].upper()}{self.word[1:]} ({number})"


def change_made(subject: Subject, seen: Encoding) -> ChangeMade:
    """The change on an even grid of colours; input and output are both seen as `seen` says."""
    low, high = subject.domain
    colours = low + (high - low) * lattice(COLOURS).reshape(-1, 3)
    view = view_of(seen)
    found = measure(colours, examined(subject.lut, colours, LARGEST_PIXEL), view)
    spread = found.delta_e_2000 if view.measure == "delta_e_2000" else found.delta_e_itp
    return ChangeMade(view.measure, float(np.percentile(spread, 95)))
