"""An encoding: what a signal stands for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from lutbench.errors import DefinitionError
from lutbench.model.curves.base import Curve
from lutbench.model.curves.hdr import HlgScene
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range, check_range, range_of


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
        object.__setattr__(self, "range", check_range(self.range))
        range_of(self.bits, self.range)
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
