"""How PQ and HLG are shown: tone-mapped for a standard-range screen, with a label, or as light."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from lutbench.bench.packing import packed, packed_floats
from lutbench.measure.delta_e import HLG_PEAK_CD_M2, View, view_of
from lutbench.model.conversion import Encoding
from lutbench.model.curves.hdr import HlgScene, hlg_system_gamma
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.light import REFERENCE_WHITE_CD_M2
from lutbench.model.tone.eetf import Eetf
from lutbench.tables.lut import lattice

VIEW_NODES = 33
"""Nodes along an edge of the table from a display's signal to the screen's, as in most LUTs."""

LIGHT_SIZE = 4097
"""Entries of the table of a display's light in the page; interpolated linearly."""


def view_name(end: Encoding) -> str | None:
    """The name of the view that an encoding needs; None if it is shown directly."""
    return f"{end.curve.name} {end.gamut.name} {_peak(end):g}" if end.curve.hdr else None


def label_of(end: Encoding) -> str:
    """The label of the view in the page."""
    peak = _peak(end)
    return (
        f"HDR, tone-mapped for this screen (BT.2390, {peak:g} to {REFERENCE_WHITE_CD_M2:g} cd/m²)"
    )


def _peak(end: Encoding) -> float:
    """Peak of the picture in cd/m²: that of the display it is made for, otherwise 1000."""
    return max(end.display.peak if end.display else HLG_PEAK_CD_M2, REFERENCE_WHITE_CD_M2)


@cache
def view_data(end: Encoding) -> dict[str, Any]:
    """From an HDR signal to sRGB, as a lattice over signal 0..1.

    Display light through the EETF of Report ITU-R BT.2390 to 203 cd/m², on each
    channel, then to BT.709 with colours outside it clipped.
    """
    seen = view_of(Encoding(end.curve, end.gamut, "full", display=end.display))
    light = seen.light(lattice(VIEW_NODES)) * seen.white_luminance
    toned = Eetf(source_peak=_peak(end), target_peak=REFERENCE_WHITE_CD_M2).apply(light)
    inside = np.clip(conversion(end.gamut, BT709).apply(toned / REFERENCE_WHITE_CD_M2), 0, 1)
    table = {
        "size": VIEW_NODES,
        "domain": [[0.0] * 3, [1.0] * 3],
        "table": packed(Srgb().encode(inside)).to_data(),
    }
    return {"label": label_of(end), "lattice": table, "light": _light_data(end, seen)}


def _light_data(end: Encoding, seen: View) -> dict[str, Any]:
    """The light of the display, for a canvas that can show values brighter than white.

    The page takes each channel of the signal through `table`, multiplies by the luminance
    to the `power`, and converts to BT.709 with 1.0 at 203 cd/m². For PQ the power is 0. For
    HLG it is the system gamma minus one (Recommendation ITU-R BT.2100-2, table 5), and the
    table is the light of greys without that gamma.
    """
    gamma = 1.0
    if isinstance(end.curve, HlgScene) and (display := seen.encoding.display) is not None:
        gamma = hlg_system_gamma(display.peak, display.surround)
    greys = np.repeat(np.linspace(0, 1, LIGHT_SIZE)[:, None], 3, axis=1)
    light = seen.light(greys)[:, 0] * seen.white_luminance / REFERENCE_WHITE_CD_M2
    return {
        "label": f"HDR shown as HDR, {REFERENCE_WHITE_CD_M2:g} cd/m² at this screen's white",
        "table": packed_floats(light ** (1 / gamma)).to_data(),
        "weights": list(end.gamut.luminance_weights),
        "power": gamma - 1,
        "matrix": conversion(end.gamut, BT709).apply(np.eye(3)).T.tolist(),
    }
