"""What every tone mapper offers."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, ClassVar, Self

from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import Gamut
from lutbench.model.light import REFERENCE_WHITE, Side
from lutbench.model.transforms import Transform


@dataclass(frozen=True)
class ToneMapper(Transform):
    """A transform of light that stands for the tone of a conversion.

    A subclass is a frozen dataclass whose fields are its settings: a recipe's
    ``[tone]`` has a key for each (a number, true or false, or a text, as the
    field's default is). `method` is its name in recipes and on the command line.
    One file in this folder and one name in `registry.py` make it known.
    """

    method: ClassVar[str] = ""
    side: ClassVar[Side | None] = None
    """``display``: takes and gives display light in cd/m². None: takes the light on which the
    two ends meet, 1.0 at white."""

    @classmethod
    def settings(cls) -> dict[str, Any]:
        """The settings by name, with their defaults."""
        return {each.name: each.default for each in fields(cls)}

    @classmethod
    def between(
        cls, source: Encoding, target: Encoding, exposure: float = 0.0, **settings: Any
    ) -> Self:
        """The mapper that fits a source, a target and an exposure in stops.

        `settings` are those that somebody has given; they are never overruled.
        """
        return cls(**settings)

    @property
    def per_channel(self) -> bool:
        """Whether each channel comes from itself alone, so that a 1D LUT can hold it."""
        return True

    def within(self, gamut: Gamut) -> Transform:
        """The mapper on light of a gamut; itself where the gamut makes no difference to it."""
        return self

    @property
    def source_white(self) -> float:
        """For display light: the cd/m² of 1.0 of a source that does not tell its own."""
        return REFERENCE_WHITE

    @property
    def target_white(self) -> float:
        """For display light: the cd/m² of 1.0 of a target that does not tell its own."""
        return REFERENCE_WHITE

    @property
    def words(self) -> str:
        """The mapper and its settings in a line, as a LUT's comments give them."""
        return ", ".join(
            [self.method, *(f"{each.name} {getattr(self, each.name)}" for each in fields(self))]
        )
