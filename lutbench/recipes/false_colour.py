"""The false colour of a recipe's LUT, from its tables."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from lutbench.errors import DefinitionError
from lutbench.model.catalogue import Catalogue
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.video import Bt1886
from lutbench.model.encoding import Encoding
from lutbench.model.false_colour import OKABE_ITO, Band, FalseColour, default_bands
from lutbench.recipes.keys import TableSettings, names
from lutbench.recipes.table import Table
from lutbench.recipes.tasks import encoding_of


def false_colour_task(lut: Table, known: Catalogue) -> FalseColour:
    """The false colour that a LUT's tables describe."""
    source = encoding_of(lut, "source", known, curve_needed=True, gamut_needed=True)
    target = lut.table("target")
    grey = Bt1886()
    shown = known.curve(target.text("curve", grey.name)) if target else grey
    exposure = lut.number("exposure", 0.0)
    unit = lut.choice("bands_in", ("stops", "cd/m2"), "stops")
    bands = [_band(each, source if unit == "cd/m2" else None) for each in lut.tables("bands")]
    # Keys of conversions only: at the top of the recipe they are meant for the other LUTs.
    for key in ("white_balance", "tone", "gamut", "look", "clamp", "as_found"):
        lut.take(key)
    return FalseColour(
        source.curve,
        source.gamut,
        tuple(bands) or default_bands(_stops(source.curve.clip)),
        source.range,
        source.bits,
        exposure,
        shown,
    )


def _stops(light: float) -> float:
    return math.log2(max(light, 1e-6) / MID_GREY)


@dataclass(frozen=True, kw_only=True)
class BandKeys(TableSettings):
    """A band of false colour."""

    colour: Annotated[str, names(lambda: OKABE_ITO)]
    """#RRGGBB, or a name."""
    low: float | None = None
    """Stops from mid grey, or as `bands_in` says."""
    high: float | None = None
    """Stops from mid grey, or as `bands_in` says."""
    label: str = ""
    clips: bool = False
    """Also shown where any channel is at its highest code, over all other bands."""

    def band(self, shown: Encoding | None) -> Band:
        """The band; with an encoding `shown`, its ends are in cd/m² on that encoding's display."""
        low = -math.inf if self.low is None else self.low
        high = math.inf if self.high is None else self.high
        label = self.label
        if shown is not None:
            label = label or _luminance_words(low, high)
            low, high = (_stops_of_luminance(shown, each) for each in (low, high))
        return Band(
            low, high, OKABE_ITO.get(self.colour.casefold(), self.colour), label, self.clips
        )


def _band(table: Table, shown: Encoding | None) -> Band:
    with table.placing_errors():
        return BandKeys.read(table).band(shown)


def _luminance_words(low: float, high: float) -> str:
    if low == float("-inf"):
        return f"under {high:g} cd/m²"
    return f"over {low:g} cd/m²" if high == float("inf") else f"{low:g} to {high:g} cd/m²"


def _stops_of_luminance(shown: Encoding, luminance: float) -> float:
    """Stops from mid grey of a neutral of `luminance` cd/m² on the display of an encoding."""
    white = shown.white_luminance
    if white is None or not shown.gives("display"):
        raise DefinitionError(
            f"{shown.curve.name} does not state its luminance on a display",
            accepted="bands in stops, or a source that states it: PQ, or one with display_peak",
        )
    if math.isinf(luminance) or luminance <= 0:
        return luminance if luminance > 0 else float("-inf")
    signal = shown.from_light("display").apply([luminance / white] * 3)
    return _stops(float(shown.curve.decode(signal)[1]))
