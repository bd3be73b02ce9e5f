"""A conversion: from a source encoding to a target encoding, with all that happens between."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from lutbench.errors import LutbenchError, one_of
from lutbench.model.compression import GamutCompression
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.curves.hdr import (
    HlgDisplayToScene,
    HlgSystemGamma,
    PqDisplay,
    PqScene,
)
from lutbench.model.encoding import Encoding
from lutbench.model.exposure import Exposure
from lutbench.model.gamuts import conversion
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.tone import Eetf, ToneMapper
from lutbench.model.transforms import Clamp, Matrix, Pipeline, Transform, plain

__all__ = ["KINDS", "PLACES", "Conversion", "Encoding", "Kind", "Place"]

Kind = Literal["combined", "curve", "gamut"]
Place = Literal["before", "light", "after"]

KINDS: tuple[Kind, ...] = ("combined", "curve", "gamut")
PLACES: tuple[Place, ...] = ("before", "light", "after")
"""Where a grade acts: on the source signal, on linear light in the target gamut, on the result."""


@dataclass(frozen=True)
class Conversion:
    """What a LUT is to do, as a description; `pipeline` makes the transform.

    The order: range → grade "before" → decode → exposure → white balance → gamut
    matrix → gamut compression → grade "light" → tone → encode → grade "after" →
    clamp → range. A ``curve`` conversion leaves the matrix out; a ``gamut``
    conversion encodes again with the source's curve and takes no tone. `tone`
    None is plain clipping. With `clamp` the signal is held to 0..1 before its
    range is laid out.
    """

    source: Encoding
    target: Encoding
    kind: Kind = "combined"
    exposure: float = 0.0
    white_balance: Matrix | None = None
    adaptation: str = "bradford"
    compression: GamutCompression | None = None
    tone: ToneMapper | None = None
    grade: tuple[Transform, ...] = ()
    grade_place: Place = "after"
    clamp: bool = True
    notes: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", one_of("kind", self.kind, KINDS))
        object.__setattr__(self, "grade_place", one_of("place", self.grade_place, PLACES))
        if self.kind == "gamut" and self.tone is not None:
            raise LutbenchError(
                "a gamut conversion leaves tone alone", accepted="tone clip, or kind combined"
            )
        if self.kind == "curve" and self.compression is not None:
            raise LutbenchError(
                "a curve conversion leaves the gamut alone",
                accepted="gamut clip, or kind combined",
            )

    @property
    def result(self) -> Encoding:
        """The encoding that really comes out: a gamut conversion keeps the source's curve,
        a curve conversion its gamut."""
        source, target = self.source, self.target
        curve, peak = target.curve, target.display_peak
        if self.kind == "gamut":
            curve, peak = source.curve, source.display_peak
        gamut = source.gamut if self.kind == "curve" else target.gamut
        return Encoding(curve, gamut, target.range, target.bits, peak)

    def pipeline(self) -> Pipeline:
        """The transform from full-scale input values to full-scale output values."""
        result = self.result
        steps: list[Transform] = []
        if self.source.range == "legal":
            steps.append(SignalFromRange("legal", self.source.bits))
        steps += self._graded("before")
        steps += _to_light(self.source)
        if self.exposure:
            steps.append(Exposure(self.exposure))
        if self.white_balance is not None:
            steps.append(self.white_balance)
        if self.kind != "curve":
            steps.append(conversion(self.source.gamut, self.target.gamut, self.adaptation))
        if self.compression is not None:
            steps.append(self.compression)
        steps += self._graded("light")
        steps += self._tone_and_encode(result)
        steps += self._graded("after")
        if self.clamp:
            steps.append(Clamp(0.0, 1.0))
        if result.range == "legal":
            steps.append(RangeFromSignal("legal", result.bits))
        return Pipeline(tuple(steps))

    def _graded(self, place: Place) -> list[Transform]:
        return list(self.grade) if place == self.grade_place else []

    def _tone_and_encode(self, result: Encoding) -> list[Transform]:
        encode = _to_signal(result)
        if isinstance(self.tone, Eetf) and isinstance(result.curve, PqScene):
            # BT.2390 works on display light, which this curve reaches only as signal.
            display = PqDisplay()
            return [*encode, Decode(display), self.tone, Encode(display)]
        return [*([self.tone] if self.tone is not None else []), *encode]

    def to_data(self) -> dict[str, Any]:
        """The whole description as plain data."""
        return {
            "kind": self.kind,
            "source": self.source.to_data(),
            "target": self.target.to_data(),
            "exposure": self.exposure,
            "white_balance": plain(self.white_balance),
            "adaptation": self.adaptation,
            "compression": plain(self.compression),
            "tone": plain(self.tone),
            "grade": plain(self.grade),
            "grade_place": self.grade_place,
            "clamp": self.clamp,
        }


def _to_light(encoding: Encoding) -> list[Transform]:
    steps: list[Transform] = [Decode(encoding.curve)]
    if encoding.display_peak is not None:
        steps.append(HlgSystemGamma(encoding.display_peak, encoding.gamut.luminance_weights))
    return steps


def _to_signal(encoding: Encoding) -> list[Transform]:
    steps: list[Transform] = [Encode(encoding.curve)]
    if encoding.display_peak is not None:
        weights = encoding.gamut.luminance_weights
        steps.insert(0, HlgDisplayToScene(encoding.display_peak, weights))
    return steps
