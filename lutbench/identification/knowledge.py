"""The curves and gamut pairs of a catalogue that identification tries, prepared once."""

from __future__ import annotations

from dataclasses import dataclass

from lutbench.identification.curvebank import CurveClass, End, classes_of, ends_of
from lutbench.identification.gamutbank import GamutBank, bank_of
from lutbench.model.catalogue import Catalogue
from lutbench.model.signal import Range, check_range

KEPT = 4
"""Prepared catalogues that are kept, since each takes a while to prepare."""

_made: list[tuple[Catalogue, Knowledge]] = []


@dataclass(frozen=True)
class Pins:
    """What the user has named; None for the rest. Names as in the catalogue."""

    source_curve: str | None = None
    source_gamut: str | None = None
    source_range: Range | None = None
    target_curve: str | None = None
    target_gamut: str | None = None
    target_range: Range | None = None


@dataclass(frozen=True)
class Knowledge:
    """The curves, each in both ranges, and the gamut pairs that are candidates."""

    classes: tuple[CurveClass, ...]
    sources: list[End]
    targets: list[End]
    bank: GamutBank

    def pinned(self, pins: Pins, catalogue: Catalogue) -> Knowledge:
        """The candidates that agree with `pins`.

        Raises
        ------
        UnknownNameError
            For a name that the catalogue does not know.
        """
        source, target = (
            None if name is None else catalogue.gamut(name).name
            for name in (pins.source_gamut, pins.target_gamut)
        )
        return Knowledge(
            self.classes,
            _only(self.sources, pins.source_curve, pins.source_range, catalogue),
            _only(self.targets, pins.target_curve, pins.target_range, catalogue),
            self.bank.only(source, target) if source or target else self.bank,
        )


def _only(
    ends: list[End], curve: str | None, name_of_range: str | None, catalogue: Catalogue
) -> list[End]:
    if curve is not None:
        name = catalogue.curve(curve).name
        ends = [end for end in ends if name in end.curve.names]
    if name_of_range is not None:
        wanted = check_range(name_of_range)
        ends = [end for end in ends if end.range == wanted]
    return ends


def knowledge_of(catalogue: Catalogue) -> Knowledge:
    """The candidates of a catalogue; the last few are kept."""
    for known, made in _made:
        if known == catalogue:
            return made
    classes = classes_of(catalogue)
    ends = ends_of(classes)
    knowledge = Knowledge(classes, ends, ends, bank_of(catalogue))
    _made.insert(0, (catalogue, knowledge))
    del _made[KEPT:]
    return knowledge
