"""A conversion: from a source encoding to a target encoding, with all that happens between."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.model.curves.base import MID_GREY, Curve, Decode, Encode
from lutbench.model.curves.hdr import (
    HlgDisplayToScene,
    HlgScene,
    HlgSystemGamma,
    PqDisplay,
    PqScene,
)
from lutbench.model.gamuts import Gamut, conversion
from lutbench.model.signal import Range, RangeFromSignal, SignalFromRange
from lutbench.model.tone import Eetf, Exposure, GamutCompression, ToneCurve
from lutbench.model.transforms import Clamp, Matrix, Pipeline, Transform, plain

Kind = Literal["combined", "curve", "gamut"]
Place = Literal["before", "light", "after"]

KINDS: tuple[Kind, ...] = ("combined", "curve", "gamut")
PLACES: tuple[Place, ...] = ("before", "light", "after")
"""Where a grade acts: on the source signal, on linear light in the target gamut, on the result."""

PQ_TONE_PEAK = 1000.0
"""cd/m² that the shoulder of a PQ target reaches unless told otherwise (BT.2408's display)."""


@dataclass(frozen=True)
class Encoding:
    """One end of a conversion: curve, gamut, signal range.

    `bits` is the depth that a legal range is laid out for. `display_peak` asks
    for display light at an HLG end, through the system gamma of a display of
    that many cd/m²; None is scene light.
    """

    curve: Curve
    gamut: Gamut
    range: Range = "full"
    bits: int = 10
    display_peak: float | None = None

    def __post_init__(self) -> None:
        if self.display_peak is not None and not isinstance(self.curve, HlgScene):
            raise DefinitionError(
                f"a display peak means nothing to the curve {self.curve.name!r}",
                accepted="a display peak with BT.2100 HLG only",
            )

    def to_data(self) -> dict[str, Any]:
        """Names and parameters as plain data."""
        return {
            "curve": self.curve.to_data(),
            "gamut": self.gamut.to_data(),
            "range": self.range,
            "bits": self.bits,
            "display_peak": self.display_peak,
        }


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
    tone: ToneCurve | Eetf | None = None
    grade: tuple[Transform, ...] = ()
    grade_place: Place = "after"
    clamp: bool = True
    notes: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise LutbenchError(f"no kind is named {self.kind!r}", accepted=", ".join(KINDS))
        if self.grade_place not in PLACES:
            raise LutbenchError(
                f"no place is named {self.grade_place!r}", accepted=", ".join(PLACES)
            )
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


def shoulder_for(
    source: Curve, target: Curve, exposure: float = 0.0, **parameters: float
) -> ToneCurve:
    """A tone curve that fits a source and a target, where `parameters` do not say otherwise.

    White is where the source clips, in stops above grey after the exposure; it
    comes to the target's white: 1.0 for a display of standard range, the peak
    of HLG, 1000 cd/m² for PQ.
    """
    given = dict(parameters)
    given.setdefault("white_out", _white_of(target))
    contrast = given.get("contrast", 1.0)
    grey_out = given.get("grey_out", MID_GREY)
    if "white" not in given and given["white_out"] > 0 and grey_out > 0 and contrast > 0:
        grey_in = given.get("grey_in", MID_GREY)
        clip = math.log2(source.clip / grey_in) + exposure if source.clip > 0 else 0.0
        straight = math.log2(given["white_out"] / grey_out) / contrast
        given["white"] = max(clip, straight)
    return ToneCurve(**given)


def _white_of(target: Curve) -> float:
    if isinstance(target, PqScene | PqDisplay):
        display = PqDisplay()
        return float(target.decode(display.encode(PQ_TONE_PEAK / display.white)))
    return target.clip


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
