"""Red, green and blue written in another order."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection import lattice as measures
from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind


class ChannelOrder(FindingKind):
    """An output channel follows the input of another."""

    code = "channel_order"
    unit = "channels"
    severity = "error"
    seen = "red and blue (or others) change places: blue skin, orange sky"
    advice = "the table was written in another order of R, G and B: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        order = measures.channel_order(lut.subject)
        if order == (0, 1, 2) or sorted(order) != [0, 1, 2]:
            return
        swapped = [(out, source) for out, source in enumerate(order) if out != source]
        moved = ", ".join(f"{'RGB'[out]} follows {'RGB'[source]}" for out, source in swapped)
        yield self.finding(lut, f"the channels are swapped: {moved}", float(len(swapped)))
