"""Parts that have no name: the curve and the primaries as measured in the LUT."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from lutbench.identification.curvebank import End
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range
from lutbench.model.transforms import Array
from lutbench.results import PlainData

CLOSE = 2.0
"""10-bit codes within which it may be that curve itself, measured through a look or rounding."""

ONE_CURVE = 0.1
"""10-bit codes, 95th percentile, within which a measured curve agrees with a named one."""

CURVE = "measured curve"
"""The name of a measured curve in definitions."""

GAMUT = "measured gamut"
"""The name of a measured gamut in definitions."""


@dataclass(frozen=True)
class MeasuredCurve(PlainData):
    """A source curve without a name: full-scale signals, light in the scale of the nearest name."""

    KEYS = (
        *("black_signal=black", "grey_signal=grey", "signal_per_stop=stop", "nearest"),
        *("nearest_range=range", "codes_off", "light", "signal"),
    )

    curve: Tabulated
    nearest: str
    codes_off: float
    """The error of the nearest name in 10-bit codes: the 95th percentile over the signals that the
    LUT shows."""
    range: Range = "full"

    @property
    def black(self) -> float:
        """The signal of zero light."""
        return float(self.curve.encode(0.0))

    @property
    def grey(self) -> float:
        """The signal of mid grey."""
        return self.curve.mid_grey

    @property
    def stop(self) -> float:
        """Signal gained per stop, over the stop above mid grey."""
        return float(self.curve.encode(2 * MID_GREY)) - self.grey

    @property
    def words(self) -> str:
        """The curve in a sentence, after "Expects"."""
        within = "" if self.range == "full" else f" in {self.range} range"
        if self.codes_off <= ONE_CURVE:
            return f"the curve of {self.nearest}{within}, as far as the LUT shows it"
        figures = f"black {100 * self.black:.1f} %".replace("-", "−")
        if self.light[0] <= MID_GREY and self.light[-1] >= 2 * MID_GREY:  # beyond, nothing is known
            figures += (
                f", mid grey {100 * self.grey:.1f} %, {100 * self.stop:.1f} % per stop above it"
            )
        if self.codes_off <= CLOSE:
            return (
                f"a curve close to {self.nearest}{within} ({self.codes_off:.1f} codes off), if not "
                f"that curve itself: {figures}"
            )
        return (
            f"an unnamed curve: {figures}; the nearest named curve is {self.nearest}{within} "
            f"({self.codes_off:.1f} codes off)"
        )

    @property
    def light(self) -> tuple[float, ...]:
        """The light of each row of the curve."""
        return self.curve.light

    @property
    def signal(self) -> tuple[float, ...]:
        """Its full-scale signal."""
        return self.curve.signal


@dataclass(frozen=True)
class Measured:
    """What was measured where no name is likely; None for a part with a name, or not visible.

    Primaries are relative to `against`, a target gamut, without adaptation. A LUT shows only
    the product of both gamuts: where the user did not name the target, it is `supposed`.
    """

    curve: MeasuredCurve | None = None
    gamut: Gamut | None = None
    against: str = ""
    supposed: bool = False
    display: End | None = None
    """The display whose curve the greys show behind a measured curve, without a tone curve."""
    nodes: tuple[Array, Array] | None = field(default=None, repr=False, compare=False)
    """What the measured parts give at some nodes, and what the LUT gives, full-scale values."""

    @property
    def words(self) -> str:
        """Curve and primaries in a sentence or two."""
        sentences = []
        if self.curve is not None:
            sentences.append(f"Expects {self.curve.words}.")
        if self.gamut is not None:
            points = ", ".join(f"{x:.4f} {y:.4f}" for x, y in self.gamut.primaries)
            points = points.replace("-", "−")
            target = f"assuming {self.against}" if self.supposed else f"for {self.against}"
            sentences.append(f"Its primaries, {target} as the target, are at xy {points}.")
        return " ".join(sentences)

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        seen = {"against": self.against, "against_supposed": self.supposed}
        return {
            "source_curve": self.curve.to_data() if self.curve else None,
            "source_gamut": self.gamut.to_data() | seen if self.gamut else None,
        }

    def toml(self) -> str:
        """Definitions of what was measured, as every command reads them."""
        lines = []
        if self.curve is not None:
            rows = {"light": self.curve.curve.light, "signal": self.curve.curve.signal}
            lines += [f'[curves."{CURVE}"]', 'kind = "table"']
            lines += [
                f"{key} = [{', '.join(f'{value:.9g}' for value in values)}]"
                for key, values in rows.items()
            ]
            lines.append("")
        if self.gamut is not None:
            points = ", ".join(f"[{x:.6f}, {y:.6f}]" for x, y in self.gamut.primaries)
            x, y = self.gamut.white
            lines += [f'[gamuts."{GAMUT}"]', f"primaries = [{points}]", f"white = [{x}, {y}]", ""]
        return "\n".join(lines)
