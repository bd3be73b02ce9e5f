"""Red, green and blue written in another order: of the channels, or of the rows."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind

ROWS_REVERSED = (2, 1, 0)
"""What each output channel follows where blue runs fastest in the file."""


def rows_reversed(lut: Examined) -> bool:
    """Whether red and blue are changed by the order of the rows, not by that of the channels.

    Both look alike where channels are treated alike. A conversion between the gamuts of
    cameras and displays mixes more green into red than into blue, so with the rows
    reversed the channel that is written first still has more of it.
    """
    mixing = measures.pull(lut.subject)
    return bool(mixing[0, 1] >= mixing[2, 1] - 1e-9)


class AxisOrder(FindingKind):
    """The rows were written with blue running fastest."""

    code = "axis_order"
    unit = "channels"
    severity = "error"
    cure = "axes"
    decides = True
    seen = "red and blue change places: blue skin, orange sky"
    advice = "turn the order of the rows round: in this format red runs fastest"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if measures.channel_order(lut.subject) == ROWS_REVERSED and rows_reversed(lut):
            message = "the rows are in the wrong order: blue runs fastest, where red should"
            yield self.finding(lut, message, 2.0)


class ChannelOrder(FindingKind):
    """An output channel follows the input of another."""

    code = "channel_order"
    unit = "channels"
    severity = "error"
    cure = "channels"
    decides = True
    seen = "red and blue (or others) change places: blue skin, orange sky"
    advice = "the table was written in another order of R, G and B: put them back"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        order = measures.channel_order(lut.subject)
        if order == (0, 1, 2) or sorted(order) != [0, 1, 2]:
            return
        if order == ROWS_REVERSED and rows_reversed(lut):
            return
        swapped = [(out, source) for out, source in enumerate(order) if out != source]
        moved = ", ".join(f"{'RGB'[out]} follows {'RGB'[source]}" for out, source in swapped)
        yield self.finding(lut, f"the channels are swapped: {moved}", float(len(swapped)))


def order_of(lut: Examined) -> tuple[int, ...]:
    """The input channel that each output channel follows, as an order to index with."""
    return tuple(int(each) for each in np.argsort(measures.channel_order(lut.subject)))
