"""The base class of tone mappers, and the tone mappers by name; each has a file in this folder.

``clip`` is not one of them: it is a conversion without a tone mapper.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from importlib import import_module
from typing import Any, ClassVar, Self

from lutbench.errors import LutbenchError
from lutbench.given import text
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import Gamut
from lutbench.model.light import REFERENCE_WHITE_CD_M2, Side
from lutbench.model.transforms import Array, Transform


@dataclass(frozen=True)
class ToneMapper(Transform):
    """A transform of light that is the tone of a conversion.

    A subclass is a frozen dataclass whose fields are its settings: a recipe's ``[tone]`` has
    a key for each, of the type of its default (a number, true/false or a text), and within
    its limits if it is `bounded`. `method` is its name in recipes and on the command line.
    A new one needs a file in this folder and an entry in `_HOMES`.
    """

    method: ClassVar[str] = ""
    says: ClassVar[str] = ""
    """What it does, in a line of ``lutbench list tones``."""
    side: ClassVar[Side | None] = None
    """``display``: input and output are display light in cd/m². None: they are the light on
    which source and target meet, 1.0 at white."""

    def curve_back(self, result: Array) -> Array:
        """The light of a result, any shape: what the inverse does, where there is one."""
        raise NotImplementedError

    @classmethod
    def settings(cls) -> dict[str, Any]:
        """The settings by name, with their defaults."""
        return {each.name: each.default for each in fields(cls)}

    @classmethod
    def between(
        cls, source: Encoding, target: Encoding, exposure: float = 0.0, **settings: Any
    ) -> Self:
        """The mapper for a source, a target and an exposure in stops.

        `settings` are those that were given; they are never changed. Settings named as
        ``source_peak`` or ``target_black`` are otherwise those of the displays of the ends.
        """
        for name in cls.settings().keys() - settings.keys():
            end, _, what = name.partition("_")
            display = {"source": source.display, "target": target.display}.get(end)
            if display is not None and what in vars(display):
                settings[name] = getattr(display, what)
        return cls(**settings)

    @property
    def per_channel(self) -> bool:
        """Whether each channel depends only on itself, so that a 1D LUT can hold it."""
        return True

    def within(self, gamut: Gamut) -> Transform:
        """The mapper for light of a gamut; itself if it does not depend on the gamut."""
        return self

    @property
    def source_white(self) -> float:
        """For display light: the cd/m² of 1.0 if the source does not define it."""
        return REFERENCE_WHITE_CD_M2

    @property
    def target_white(self) -> float:
        """For display light: the cd/m² of 1.0 if the target does not define it."""
        return REFERENCE_WHITE_CD_M2

    @property
    def words(self) -> str:
        """The mapper and its settings in one line, for the comments of a LUT."""
        return ", ".join(
            [self.method, *(f"{each.name} {getattr(self, each.name)}" for each in fields(self))]
        )


@dataclass(frozen=True)
class ToneInverse(Transform):
    """The inverse of a tone mapper in closed form."""

    tone: ToneMapper

    @property
    def kind(self) -> str:  # type: ignore[override]
        """That of the tone mapper, with ``_inverse``."""
        return f"{self.tone.kind}_inverse"

    def _apply(self, rgb: Array) -> Array:
        return self.tone.curve_back(rgb)

    def inverse(self) -> ToneMapper:
        return self.tone


class BetweenPeaks(ToneMapper):
    """A mapper from a display with one peak to a display with another.

    If the luminance of white is not defined, it is the display's peak.
    """

    source_peak: float
    target_peak: float

    @property
    def source_white(self) -> float:
        return self.source_peak

    @property
    def target_white(self) -> float:
        return self.target_peak


CLIP = "clip"

# From a name to its file in this folder and its class, which is imported only when needed.
_HOMES: dict[str, tuple[str, str]] = {
    "shoulder": ("shoulder", "ToneCurve"),
    "eetf": ("eetf", "Eetf"),
    "sigmoid": ("sigmoid", "Sigmoid"),
    "bt2446-a": ("bt2446", "Bt2446A"),
    "bt2446-a-up": ("bt2446", "Bt2446AUp"),
    "bt2446-c": ("bt2446", "Bt2446C"),
    "gamma-adjust": ("gamma_adjust", "GammaAdjust"),
}
_ADDED: dict[str, type[ToneMapper]] = {}


def register(mapper: type[ToneMapper]) -> type[ToneMapper]:
    """Register a tone mapper under its `method`; it can be used as a decorator.

    Raises
    ------
    LutbenchError
        When it has no name, or the name is taken.
    """
    name = mapper.method
    taken = name in _HOMES or _ADDED.get(name, mapper) is not mapper
    if not name or name == CLIP or taken:
        raise LutbenchError(
            f"a tone mapper cannot be named {name!r}", accepted="a name that is not taken"
        )
    _ADDED[name] = mapper
    return mapper


def tone_names() -> tuple[str, ...]:
    """The names that a recipe's ``method`` and ``--tone`` accept.

    >>> tone_names()[:2]
    ('clip', 'shoulder')
    """
    return (CLIP, *_HOMES, *_ADDED)


def tone_mapper(name: str, where: str = "") -> type[ToneMapper] | None:
    """The tone mapper of a name, in any letter case; None for ``clip``.

    Raises
    ------
    LutbenchError
        When no tone mapper has that name.
    """
    folded = text(name, where or "tone").casefold()
    if folded == CLIP:
        return None
    if folded in _ADDED:
        return _ADDED[folded]
    if folded not in _HOMES:
        raise LutbenchError(
            f"no tone is named {name!r}", where=where, accepted=", ".join(tone_names())
        )
    file, mapper = _HOMES[folded]
    found: type[ToneMapper] = getattr(import_module(f"lutbench.model.tone.{file}"), mapper)
    return found
