"""A source and a target with their pair of gamuts, as a plain conversion."""

from __future__ import annotations

from dataclasses import dataclass, replace

from lutbench.errors import LutbenchError
from lutbench.identification.curvebank import End
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.hypothesis import Hypothesis
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.hdr import HlgScene
from lutbench.model.gamuts import BT709, BT2020
from lutbench.model.grade import Cdl
from lutbench.model.light import Display


@dataclass(frozen=True)
class Between:
    """A source and a target, each with its range, and the likely pair of gamuts."""

    source: End
    target: End
    pair: Pair
    cdl: Cdl | None = None
    """A CDL on the target's signal, near the one that is looked for."""

    def hypothesis(self, made: Conversion, bank: GamutBank) -> Hypothesis:
        """The hypothesis of a description between these ends."""
        pair = bank.pair(0)
        if made.source.gamut != made.target.gamut:
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
        """The plain conversion; None where the two ends cannot be combined."""
        pair = self.pair if pair is None else pair
        if pair.source.gamut is None or pair.target.gamut is None:
            return None
        curves = self.source.curve.curve, self.target.curve.curve
        # An OOTF, or an HDR tone curve, weighs the channels by its usual gamut.
        kept = BT2020 if any(curve.has_ootf for curve in curves) else BT709
        gamuts = (kept, kept) if pair.alike else (pair.source.gamut, pair.target.gamut)
        source, target = (
            Encoding(end.curve.curve, gamut, end.range)
            for end, gamut in zip((self.source, self.target), gamuts, strict=True)
        )
        try:
            if source.side != target.side:
                source, target = (_on_display(end) for end in (source, target))
            if pair.alike and kept is BT709:
                return Conversion(source, target, "curve")
            return Conversion(source, target, adaptation=pair.adaptation)
        except LutbenchError:
            return None


def _on_display(end: Encoding) -> Encoding:
    """HLG as the reference display shows it, where its light meets that of another display."""
    return replace(end, display=Display()) if isinstance(end.curve, HlgScene) else end
