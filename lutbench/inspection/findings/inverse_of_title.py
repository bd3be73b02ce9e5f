"""A table that does the inverse of what its title says."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.base import Curve

LOGS = ("ACEScct", "Cineon")
DISPLAYS = ("BT.1886", "BT.709")

WORDS = {
    "log": LOGS,
    "acescct": ("ACEScct",),
    "cineon": ("Cineon",),
    "video": DISPLAYS,
    "display": DISPLAYS,
    "rec709": DISPLAYS,
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
"""What a title calls the ends of a conversion: words of the trade, and standards."""

_BETWEEN = re.compile(r"(.+?)(?:\s+to\s+|_to_|\s*(?:->|→)\s*)(.+)", re.IGNORECASE)


class InverseOfTitle(FindingKind):
    """The title names a conversion, and the table does it backwards."""

    code = "inverse_of_title"
    limit = Limit(
        0.5, "of the misfit", "backwards fits twice as well as forwards: no look turns a tone round"
    )
    severity = "error"
    cure = "inverse"
    decides = True
    seen = "log comes out flatter still, or a finished picture comes out as log"
    advice = "use its inverse, or correct the title"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        ends = named_ends(lut.title)
        if ends is None:
            return
        forwards, backwards = _misfit(lut, *ends), _misfit(lut, *ends[::-1])
        if backwards < self.limit_for(lut) * forwards:
            message = f"it does the inverse of what its title says ({lut.title.strip()[:60]!r})"
            yield self.finding(lut, message, backwards / forwards)


def named_ends(title: str) -> tuple[tuple[Curve, ...], tuple[Curve, ...]] | None:
    """The curves that a title may mean by what stands on both sides of "to"; None for none."""
    found = _BETWEEN.search(title)
    if found is None:
        return None
    sides = tuple(_names(side) for side in found.groups())
    if not all(sides) or set(sides[0]) & set(sides[1]):
        return None
    known = open_catalogue(user=False)
    first, second = (tuple(known.curve(name) for name in side) for side in sides)
    return first, second


def _names(side: str) -> tuple[str, ...]:
    """The curves of the longest word that stands in the text."""
    text = f" {re.sub(r'[_(),/]', ' ', side.lower())} "
    hits = [word for word in WORDS if f" {word} " in text]
    return WORDS[max(hits, key=len)] if hits else ()


def _misfit(lut: Examined, source: tuple[Curve, ...], target: tuple[Curve, ...]) -> float:
    """How far the grey scale is from the nearest conversion of these, root mean square."""
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
