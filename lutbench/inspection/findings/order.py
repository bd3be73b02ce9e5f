"""Findings on order: rows, channels, or source and target that have changed places."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import (
    Examined,
    Finding,
    FindingKind,
    Limit,
)
from lutbench.model.curves.base import Curve

UNCLEAR = "red and blue have changed places, in the rows or in the channels: it cannot tell which"
ASK = (
    "try both, `lutbench rework repair --only axes` and `--only channels`, and take the one "
    "with natural colours"
)


class AxisOrder(FindingKind):
    """The rows were written with blue running fastest."""

    code = "axis_order"
    unit = "channels"
    severity = "error"
    cure = "axes"
    decides = True
    seen = "red and blue change places: blue skin, orange sky"
    advice = (
        "in this format red runs fastest: put the rows in that order (`lutbench rework repair` "
        "does it)"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.swapped == "rows":
            message = "the rows are in the wrong order: blue runs fastest instead of red"
            yield self.finding(lut, message, 2.0)
        elif lut.swapped == "unclear":
            choice = {"by_default": False, "other_cure": ChannelOrder.cure, "advice": ASK}
            yield self.finding(lut, UNCLEAR, 2.0, **choice)


class ChannelOrder(FindingKind):
    """An output channel follows the input of another."""

    code = "channel_order"
    unit = "channels"
    severity = "error"
    cure = "channels"
    decides = True
    seen = "red and blue (or others) change places: blue skin, orange sky"
    advice = "put R, G and B back in order: `lutbench rework repair` does it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        order = lut.order
        if order == measures.RIGHT:
            return
        if lut.swapped in ("rows", "unclear"):
            return
        swapped = [(out, source) for out, source in enumerate(order) if out != source]
        moved = ", ".join(f"{'RGB'[out]} follows {'RGB'[source]}" for out, source in swapped)
        yield self.finding(lut, f"the channels are swapped: {moved}", float(len(swapped)))


def order_of(lut: Examined) -> tuple[int, ...]:
    """The index that puts the channels back in the order R, G, B."""
    return tuple(int(each) for each in np.argsort(lut.order))


LOGS = ("ACEScct", "Cineon")
DISPLAYS = ("BT.1886", "BT.709")

WORDS = {
    "log": LOGS,
    "acescct": ("ACEScct",),
    "cineon": ("Cineon",),
    "video": DISPLAYS,
    "display": DISPLAYS,
    "rec709": DISPLAYS,
    "709": DISPLAYS,
    "bt709": DISPLAYS,
    "rec 709": DISPLAYS,
    "bt.709": DISPLAYS,
    "rec.709": DISPLAYS,
    "bt.1886": ("BT.1886",),
    "srgb": ("sRGB",),
    "sdr": DISPLAYS,
    "linear": ("linear",),
    "lin": ("linear",),
    "pq": ("BT.2100 PQ",),
    "hlg": ("BT.2100 HLG",),
}
"""The curves that a word in a title may stand for."""

_BETWEEN = re.compile(
    r"(.+?)(?:[\s_-]+to[\s_-]+|\s*(?:->|→)\s*|(?<=[a-z])2(?=[a-z]))(.+)", re.IGNORECASE
)


class InverseOfTitle(FindingKind):
    """The title names a conversion, and the table does it backwards."""

    code = "inverse_of_title"
    limit = Limit(
        0.5, "of the misfit", "the inverse fits twice as well; no look reverses a tone curve"
    )
    severity = "error"
    cure = "inverse"
    decides = True
    seen = "log comes out even flatter, or a finished picture comes out as log"
    advice = (
        "if the title is right, use the inverse (`lutbench rework repair` makes it); if not, "
        "correct the title"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        ends = named_ends(lut.title)
        if ends is None:
            return
        forwards, backwards = _misfit(lut, *ends), _misfit(lut, *ends[::-1])
        if backwards < self.limit_for(lut) * forwards:
            message = f"it does the opposite of what its title says ({lut.title.strip()[:60]!r})"
            yield self.finding(lut, message, backwards / forwards)


def named_ends(title: str) -> tuple[tuple[Curve, ...], tuple[Curve, ...]] | None:
    """The curves that a title may mean before and after "to"; None if it names none."""
    found = _BETWEEN.search(title)
    if found is None:
        return None
    sides = tuple(_names(side) for side in found.groups())
    if not all(sides) or set(sides[0]) & set(sides[1]):
        return None
    from lutbench.model.catalogue import open_catalogue

    known = open_catalogue(user=False)
    first, second = (tuple(known.curve(name) for name in side) for side in sides)
    return first, second


def _names(side: str) -> tuple[str, ...]:
    """The curves that the longest known word in the text stands for."""
    text = f" {re.sub(r'[_(),/-]', ' ', side.lower())} "
    hits = [word for word in WORDS if f" {word} " in text]
    return WORDS[max(hits, key=len)] if hits else ()


def _misfit(lut: Examined, source: tuple[Curve, ...], target: tuple[Curve, ...]) -> float:
    """RMS difference of the grey scale from the nearest of these conversions, in signal."""
    axis = lut.subject.neutral
    signal = np.clip(axis.inputs, 0, 1)
    return min(
        float(np.sqrt(np.mean((_converted(signal, one, other) - axis.mean) ** 2)))
        for one in source
        for other in target
    )


def _converted(
    signal: np.ndarray[tuple[int, ...], np.dtype[np.float64]], source: Curve, target: Curve
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.clip(np.nan_to_num(target.encode(np.maximum(source.decode(signal), 0))), 0, 1)
