"""A conversion: from a source encoding to a target encoding, with all steps between."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal

from lutbench.errors import LutbenchError
from lutbench.given import flag, one_of, real, texts
from lutbench.model.encoding import Encoding, Meeting, meeting, unrendered
from lutbench.model.gamuts import check_adaptation, conversion
from lutbench.model.grade import Exposure
from lutbench.model.light import Side
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Clamp, Matrix, Pipeline, Transform
from lutbench.results import PlainData

if TYPE_CHECKING:
    from lutbench.model.compression import GamutCompression
    from lutbench.model.gamut_map import GamutMapping
    from lutbench.model.tone import ToneMapper

__all__ = ["KINDS", "PLACES", "Conversion", "Encoding", "Kind", "Place"]

Kind = Literal["combined", "curve", "gamut"]
Place = Literal["before", "light", "after"]

KINDS: tuple[Kind, ...] = ("combined", "curve", "gamut")
PLACES: tuple[Place, ...] = ("before", "light", "after")
"""Where a grade acts: on the source signal, on linear light in the target gamut, on the result."""


def _transforms(value: Any, what: str) -> tuple[Transform, ...]:
    steps = value if isinstance(value, tuple | list) else (value,)
    if not all(isinstance(each, Transform) for each in steps):
        raise LutbenchError(f"{value!r:.60} are not transforms", where=what, accepted="a tuple")
    return tuple(steps)


_CHECKS: dict[str, Callable[[Any, str], Any]] = {
    "exposure": real,
    "adaptation": check_adaptation,
    "grade": _transforms,
    "clamp": flag,
    "as_found": flag,
    "notes": texts,
}
_PARTS = {
    "white_balance": ("lutbench.model.transforms", "Matrix"),
    "compression": ("lutbench.model.compression", "GamutCompression"),
    "tone": ("lutbench.model.tone", "ToneMapper"),
    "mapping": ("lutbench.model.gamut_map", "GamutMapping"),
}
"""The types of the parts that may be left out, from modules that are loaded when one is given."""


@dataclass(frozen=True)
class Conversion(PlainData):
    """The description of what a LUT does; `pipeline` makes the transform.

    The order: range → grade "before" → decode → exposure → white balance → gamut
    matrix → gamut compression → grade "light" → tone → encode → grade "after" →
    clamp → range. A gamut mapping comes before a per-channel tone, else just before encode.
    A ``curve`` conversion has no matrix; a ``gamut`` conversion encodes with the source's
    curve and has no tone. `tone` None means clipping. The light between decode and encode
    is on the side on which the two ends meet (`encoding.meeting`); a tone mapper for one
    side gets that side's light. With `clamp` the signal is clamped to the range of its codes.
    `as_found` describes a LUT from elsewhere that treats the light of its source as that of
    its target, whatever side each is on; LUTs that are built here never need it.
    """

    KEYS = (
        *("kind", "source", "target", "exposure", "white_balance", "adaptation", "compression"),
        *("tone", "grade", "grade_place", "clamp", "as_found", "mapping"),
    )

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
    as_found: bool = False
    mapping: GamutMapping | None = None
    notes: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        for end in (self.source, self.target):
            if not isinstance(end, Encoding):
                raise LutbenchError(
                    f"{end!r:.60} is not an encoding", where="Conversion", accepted="an Encoding"
                )
        self._check_values()
        object.__setattr__(self, "kind", one_of("kind", self.kind, KINDS))
        object.__setattr__(self, "grade_place", one_of("place", self.grade_place, PLACES))
        if self.kind == "gamut" and self.tone is not None:
            raise LutbenchError(
                "a gamut conversion has no tone", accepted="tone clip, or kind combined"
            )
        if self.kind == "curve" and self.compression is not None:
            raise LutbenchError(
                "a curve conversion does not change the gamut",
                accepted="gamut clip, or kind combined",
            )
        if self.kind == "curve" and self.tone is not None and not self.tone.per_channel:
            raise LutbenchError(
                f"the tone {self.tone.method} mixes channels, so a curve conversion cannot use it",
                accepted="kind combined",
            )
        if self.mapping is not None and (self.kind == "curve" or self.compression is not None):
            raise LutbenchError(
                "a gamut mapping cannot be used with a compression or in a curve conversion",
                accepted="either mapping or compression, and kind combined or gamut",
            )
        self._check_sides()

    @property
    def title(self) -> str:
        """The names of what is converted: of curves, of gamuts, or of both."""
        source, target = self.source, self.target
        curves = f"{source.curve.name} to {target.curve.name}"
        gamuts = f"{source.gamut.name} to {target.gamut.name}"
        titles = {"curve": curves, "gamut": f"{gamuts} in {source.curve.name}"}
        return titles.get(self.kind, f"{curves}, {gamuts}")

    @cached_property
    def result(self) -> Encoding:
        """The encoding of the output: a gamut conversion keeps the source's curve, a curve
        conversion its gamut."""
        source, target = self.source, self.target
        if self.kind == "combined":
            return target
        shown = source if self.kind == "gamut" else target
        gamut = source.gamut if self.kind == "curve" else target.gamut
        return Encoding(shown.curve, gamut, target.range, target.bits, shown.display)

    @cached_property
    def meeting(self) -> Meeting:
        """The sides of light of the source and of the result."""
        source, result = self.source, self.result
        return unrendered(source, result) if self.as_found else meeting(source, result)

    def pipeline(self) -> Pipeline:
        """The transform from full-scale input values to full-scale output values."""
        result, sides = self.result, self.meeting
        steps: list[Transform] = []
        if self.source.range == "legal":
            steps.append(SignalFromRange("legal", self.source.bits))
        steps += self._graded("before")
        steps.append(self.source.to_light(sides.source))
        if self.exposure:
            steps.append(Exposure(self.exposure))
        if self.white_balance is not None:
            steps.append(self.white_balance)
        if self.kind != "curve":
            steps.append(conversion(self.source.gamut, self.target.gamut, self.adaptation))
        if self.compression is not None:
            steps.append(self.compression)
        if self._maps_first and self.mapping is not None:
            steps.append(self.mapping)
        steps += self._graded("light")
        steps += self._tone_and_encode(result, sides.target)
        steps += self._graded("after")
        return Pipeline((*steps, *_carried(result, self.clamp)))

    def inverse(self) -> Pipeline:
        """From full-scale output values back to input values.

        Values that were clamped are inverted as they came out.

        Raises
        ------
        NotInvertibleError
            When a step has no inverse, with the step.
        """
        return replace(self, clamp=False).pipeline().inverse()

    def _graded(self, place: Place) -> list[Transform]:
        return list(self.grade) if place == self.grade_place else []

    def _tone_and_encode(self, result: Encoding, side: Side) -> list[Transform]:
        tone, encode = self.tone, result.from_light(side)
        mapping = [self.mapping] if self.mapping is not None and not self._maps_first else []
        if tone is None:
            return [*mapping, encode]
        mapper = tone.within(result.gamut)
        if tone.side is None:
            return [mapper, *mapping, encode]
        # Such a mapper takes the light of its own side, in cd/m². If the light is on the
        # other side, it is converted by way of the result's signal.
        over = [] if side == tone.side else [encode, result.to_light(tone.side)]
        before, after = self._whites() if tone.side == "display" else (1.0, 1.0)
        return [
            *over,
            _times(after if over else before),
            mapper,
            _times(1 / after),
            *mapping,
            result.from_light(tone.side),
        ]

    def _whites(self) -> tuple[float, float]:
        """cd/m² of light 1.0 before and after a mapper of display light."""
        assert self.tone is not None
        before = self.source.white_luminance or self.tone.source_white
        return before, self.result.white_luminance or self.tone.target_white

    def _check_values(self) -> None:
        for name, check in _CHECKS.items():
            object.__setattr__(self, name, check(getattr(self, name), name))
        for name, (module, kind) in _PARTS.items():
            part = getattr(self, name)
            if part is not None and not isinstance(part, getattr(import_module(module), kind)):
                raise LutbenchError(
                    f"{part!r:.60} cannot be used", where=name, accepted=f"None, a {kind}"
                )

    def _check_sides(self) -> None:
        """Refuse a tone whose side of light cannot be reached."""
        sides, tone = self.meeting, self.tone
        if tone is None or tone.side is None or tone.side == sides.source == sides.target:
            return
        wrong = self.result if not self.result.gives(tone.side) else None
        if sides.is_rendered_by_tone:
            wrong = self.source if self.source.side != tone.side else self.result
        if wrong is not None:
            raise LutbenchError(
                f"the tone {tone.method} works on {tone.side} light, but {wrong.curve.name} "
                f"encodes {wrong.side} light",
                accepted=f"{wrong.curve.name} with its display named (display_peak), "
                "an encoding of display light, or the tone shoulder",
            )

    @property
    def _maps_first(self) -> bool:
        """Whether a gamut mapping comes before the tone: a per-channel tone needs light that is
        inside the gamut."""
        return self.tone is not None and self.tone.per_channel


def mapping_into(task: Conversion, **settings: Any) -> GamutMapping:
    """The gamut mapping for the result of a conversion.

    It is limited to the brightest light of the result if that is for a display; but not if a
    tone follows, which limits it, or if the result is a recording.
    """
    from lutbench.model.gamut_map import GamutMapping

    result, tone = task.result, task.tone
    if (tone is not None and tone.per_channel) or not result.curve.shown:
        return GamutMapping(result.gamut, top=None, **settings)
    side = tone.side if tone is not None and tone.side is not None else task.meeting.target
    return GamutMapping(result.gamut, top=result.brightest(side), **settings)


def _carried(result: Encoding, clamp: bool) -> list[Transform]:
    """From signal to full-scale values, with `clamp` limited to the range of the codes."""
    limit: list[Transform] = [Clamp(0.0, 1.0)] if clamp else []
    if result.range == "full":
        return limit
    to_legal = RangeFromSignal("legal", result.bits)
    # A curve that is published in legal codes may use those above 940 and below 64.
    return [to_legal, *limit] if result.curve.formula_codes == "legal" else [*limit, to_legal]


def _times(factor: float) -> Matrix:
    return Matrix(((factor, 0.0, 0.0), (0.0, factor, 0.0), (0.0, 0.0, factor)))
