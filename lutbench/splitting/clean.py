"""The clean conversion in a LUT, as identified, in parts that can be chained."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.built.search import built, is_rounding
from lutbench.identification.common import SIX_DECIMALS
from lutbench.identification.curvebank import scale_of
from lutbench.identification.hypothesis import Hypothesis, ToneTarget, forecast
from lutbench.identification.knowledge import knowledge_of
from lutbench.identification.measured import ONE_CURVE
from lutbench.identification.result import Identification
from lutbench.identification.samples import CODES, NOISE, Samples, samples_of
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding, Kind
from lutbench.model.curves.video import Linear
from lutbench.model.encoding import is_unrendered
from lutbench.model.gamuts import BT709
from lutbench.model.signal import Range
from lutbench.model.transforms import Array, Clamp, Pipeline, Transform
from lutbench.splitting.frame import LARGEST
from lutbench.splitting.tone import tone_table

WIDE = 7.5
"""Widths of the domain by which the chain of an unclipped LUT continues beyond it."""


def clean_conversion(found: Identification, lut: Transform) -> Conversion:
    """The conversion that the best candidate names, without the look.

    Raises
    ------
    LutbenchError
        When nothing known explains the LUT.
    """
    samples = found.samples or samples_of(lut)
    if found.kind == "identity" and found.best is None:
        same = Encoding(Linear(), BT709)
        return Conversion(same, same, "curve", clamp=_clamps(samples, "full"))
    best = found.best
    if best is None or best.confidence == "none" or best.hypothesis is None:
        raise LutbenchError(
            "no known conversion explains this LUT, so it cannot be split",
            accepted="a LUT that `lutbench identify` can name, or catalogue= with its encoding",
        )
    return _conversion(best.hypothesis, samples)


def description_of(
    found: Identification, lut: Transform, catalogue: Catalogue | None
) -> Conversion | None:
    """The recipe that gives the LUT to its rounding; None where none is found.

    Where no candidate explains the LUT, none is looked for: the search took up to ten seconds, and
    found none in any LUT that was tried. Nor where a source curve was measured that has no name,
    since a recipe has a named one.
    """
    if found.best is None or found.best.confidence == "none":
        return None
    measured = found.measured.curve if found.measured is not None else None
    if measured is not None and measured.codes_off > ONE_CURVE:
        return None
    samples = found.samples or samples_of(lut)
    guesses = [
        h for each in found.candidates for h in (each.hypothesis, *each.others) if h is not None
    ]
    if guesses and guesses[0].built is not None:
        return guesses[0].built
    if not guesses or is_rounding(forecast(guesses[0], samples), guesses[0], samples):
        return None
    known = knowledge_of(catalogue or open_catalogue())
    made = built(guesses, samples, known, thorough=True)
    return None if made is None else made.hypothesis.built


def parted(recipe: Conversion | None) -> Conversion | None:
    """Gamut and curve of a description that has only these and a look after them; else None."""
    if recipe is None or recipe.white_balance is not None or recipe.mapping is not None:
        return None
    if recipe.tone is not None and (not recipe.tone.per_channel or recipe.tone.side is not None):
        return None
    if recipe.grade and recipe.grade_place != "after":
        return None
    return replace(recipe, grade=())


def _conversion(h: Hypothesis, samples: Samples) -> Conversion:
    tone = isinstance(h.target, ToneTarget)
    curve = tone_table(h, samples) if isinstance(h.target, ToneTarget) else h.target.curve.curve
    source_gamut, target_gamut = (
        BT709 if h.pair.alike or each.gamut is None else each.gamut
        for each in (h.pair.source, h.pair.target)
    )
    end = h.target_end
    kind: Kind = "curve" if h.pair.alike else "combined"
    if kind == "combined" and not tone and end is not None and end.number == h.source.number:
        kind = "gamut"
    source = Encoding(h.source.curve.curve, source_gamut, h.source.range)
    target = Encoding(curve, target_gamut, h.target.range)
    return Conversion(
        source,
        target,
        kind,
        round(float(h.stops), 4) + 0.0,
        adaptation="bradford" if h.pair.alike else h.pair.adaptation,
        compression=None if h.pair.alike else _compression_of(h),
        clamp=_clamps(samples, h.target.range),
        as_found=kind != "gamut" and not is_unrendered(source, target),
    )


def _compression_of(h: Hypothesis) -> GamutCompression | None:
    """The gamut compression of a hypothesis; other steps on light are in the look."""
    return h.compression if isinstance(h.compression, GamutCompression) else None


def _clamps(samples: Samples, name: Range) -> bool:
    """Whether the LUT stays within the signal of its range, as a LUT that clips there does."""
    low, span = scale_of(name)
    slack = NOISE if samples.blurred else 2 * SIX_DECIMALS + samples.step / 2
    return bool(samples.low.min() >= low - slack and samples.high.max() <= low + span + slack)


def noise_of(found: Identification, lut: Transform) -> float:
    """10-bit codes of error at a node from rounding, and from noise where it is visible."""
    samples = found.samples or samples_of(lut)
    return CODES * (samples.step / 2 + (NOISE if samples.blurred else 0.0))


@dataclass(frozen=True)
class Tasks:
    """A conversion in two: gamut in the source's signal, then tone and range.

    In a chain, `gamut` is not clipped to 0..1: light beyond the range of the source's signal
    still matters to the curve that follows.
    """

    gamut: Conversion
    curve: Conversion

    @classmethod
    def of(cls, whole: Conversion) -> Tasks:
        """The parts of `whole`."""
        source, target = whole.source, whole.target
        moved = source if whole.kind == "curve" else replace(source, gamut=target.gamut)
        gamut = Conversion(
            source,
            moved,
            "gamut",
            adaptation=whole.adaptation,
            compression=whole.compression,
        )
        end = whole.result
        curve = Conversion(
            moved,
            end,
            "curve",
            whole.exposure,
            tone=whole.tone,
            clamp=whole.clamp,
            as_found=whole.as_found,
        )
        return cls(gamut, curve)

    @property
    def converts_gamut(self) -> bool:
        """Whether the gamut part changes anything."""
        return self.gamut.source.gamut != self.gamut.target.gamut

    @property
    def converts_tone(self) -> bool:
        """Whether the curve part changes anything."""
        one = self.curve
        return (
            one.source.curve != one.target.curve
            or one.source.range != one.target.range
            or (one.exposure != 0)
            or one.tone is not None
        )

    def open_gamut(self, domain: Array) -> Pipeline:
        """The gamut part for a chain, clipped only where the curve part no longer changes."""
        if not self.converts_gamut:
            return Pipeline()
        return replace(self.gamut, clamp=False).pipeline() | Clamp(*self.span(domain))

    def span(self, domain: Array) -> tuple[float, float]:
        """The source values that the curve part must cover, at least those of `domain`."""
        first, last = float(domain[0].min()), float(domain[1].max())
        low, high = first - WIDE * (last - first), last + WIDE * (last - first)
        if self.curve.clamp:
            # Beyond the inputs for signal 0 and 1 the curve part is constant.
            back = replace(self.curve, clamp=False).pipeline().inverse()
            floor, room = scale_of(self.curve.target.range)
            ends = back.apply(np.array([[floor] * 3, [floor + room] * 3]))[:, 0]
            low, high = np.nan_to_num(ends, nan=first, posinf=LARGEST, neginf=-LARGEST).tolist()
        return min(low, first), max(high, last)
