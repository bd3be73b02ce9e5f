"""How PQ and HLG are shown on a screen of standard range: tone-mapped, and said to be."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from lutbench.bench.packing import packed
from lutbench.measure.view import HLG_PEAK, view_of
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.light import REFERENCE_WHITE
from lutbench.model.tone.eetf import Eetf
from lutbench.tables.lut import lattice

VIEW_SIZE = 33


def view_name(end: Encoding) -> str | None:
    """The name of the view that an end needs; None for one that is shown as it is."""
    return f"{end.curve.name} {end.gamut.name} {_peak(end):g}" if end.curve.hdr else None


def label_of(end: Encoding) -> str:
    """What the page says of the view."""
    peak = _peak(end)
    return f"HDR, tone-mapped for this screen (BT.2390, {peak:g} to {REFERENCE_WHITE:g} cd/m²)"


def _peak(end: Encoding) -> float:
    """cd/m² that the picture reaches: those of the display it is made for, else 1000."""
    return max(end.display.peak if end.display else HLG_PEAK, REFERENCE_WHITE)


@cache
def view_data(end: Encoding) -> dict[str, Any]:
    """From the signal of an HDR end to sRGB, as a lattice over signal 0..1.

    Display light through the EETF of Report ITU-R BT.2390 to 203 cd/m², each channel by
    itself, then to BT.709 with what is outside it cut off.
    """
    seen = view_of(Encoding(end.curve, end.gamut, "full", display=end.display))
    light = seen.light(lattice(VIEW_SIZE)) * seen.white_luminance
    toned = Eetf(source_peak=_peak(end), target_peak=REFERENCE_WHITE).apply(light)
    inside = np.clip(conversion(end.gamut, BT709).apply(toned / REFERENCE_WHITE), 0, 1)
    table = {
        "size": VIEW_SIZE,
        "domain": [[0.0] * 3, [1.0] * 3],
        "table": packed(Srgb().encode(inside)).to_data(),
    }
    return {"label": label_of(end), "lattice": table}
