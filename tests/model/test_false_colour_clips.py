"""False colour: clipping is shown wherever any channel clips."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from lutbench.model.catalogue import open_catalogue
from lutbench.model.false_colour import FalseColour, default_bands
from lutbench.model.gamuts import BT2020

KNOWN = open_catalogue(user=False)
CURVES = ["BT.709", "sRGB", "ACEScct", "BT.2100 HLG", *colour.LOG_ENCODINGS]


@pytest.mark.parametrize("name", CURVES)
def test_clipping_shows_in_any_channel_also_where_codes_end_at_white(name: str) -> None:
    """A channel at the highest code of the recording is clipped, whatever luminance says."""
    if name not in {each.name for each in KNOWN.usable_curves}:
        pytest.skip("the registry's function has no inverse")
    curve = KNOWN.curve(name)
    stops = float(np.log2(curve.clip / 0.18))
    task = FalseColour(curve, BT2020, default_bands(stops))
    clip = next(band for band in task.bands if band.clips).signal
    grey = float(task.curve.formula_codes == "legal") * 64 / 1023 + 0.3
    for channel in range(3):
        pixel = np.full(3, grey)
        pixel[channel] = 1.0
        assert task.apply(pixel) == pytest.approx(clip)
        pixel[channel] = 1.0 - 3 / 1023
        if np.log2(0.9 / 0.18) + 0.25 < stops:
            continue  # within half a stop of clipping counts as well
        assert not np.allclose(task.apply(pixel), clip)
    assert task.apply([1.0, 1.0, 1.0]) == pytest.approx(clip)
