"""A source and a target with their pair of gamuts, as a plain conversion."""

from __future__ import annotations

from dataclasses import dataclass

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import End
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.hypothesis import Hypothesis
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.gamuts import BT709


@dataclass(frozen=True)
class Between:
    """A source and a target, each with its range, and the pair of gamuts that is likely."""

    source: End
    target: End
    pair: Pair

    def hypothesis(self, made: Conversion, bank: GamutBank) -> Hypothesis:
        """The hypothesis of a description between these ends."""
        pair = bank.pair(0)
        if made.kind != "curve":
            names = made.source.gamut, made.target.gamut, made.adaptation
            every = (bank.pair(index) for index in range(len(bank)))
            pair = next(
                each
                for each in every
                if (each.source.gamut, each.target.gamut, each.adaptation) == names
                and not each.published
            )
        grade = made.grade if made.grade_place == "after" else ()
        return Hypothesis(
            self.source, self.target, pair, made.exposure, made.compression, grade, built=made
        )

    def task(self, pair: Pair | None = None) -> Conversion | None:
        """The plain conversion; None where the two ends do not go together."""
        pair = self.pair if pair is None else pair
        if pair.source.gamut is None or pair.target.gamut is None or pair.published:
            return None
        gamuts = (BT709, BT709) if pair.alike else (pair.source.gamut, pair.target.gamut)
        source, target = (
            Encoding(end.curve.curve, gamut, end.range)
            for end, gamut in zip((self.source, self.target), gamuts, strict=True)
        )
        try:
            if pair.alike:
                return Conversion(source, target, "curve")
            return Conversion(source, target, adaptation=pair.adaptation)
        except LutbenchError:
            return None
