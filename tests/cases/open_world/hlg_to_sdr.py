"""HLG to SDR through its OOTF: the commonest broadcast LUT.

Source: Recommendation ITU-R BT.2100-2, table 5, for the OOTF; Report ITU-R BT.2408,
5.1 and BT.2390 for what comes after it.
"""

from __future__ import annotations

import numpy as np

from open_world.bt2390 import eetf
from open_world.case import Array, Case, Step, baked
from open_world.ends import Ends
from open_world.spaces import REFERENCE_WHITE
from open_world.tones import some_tone

NAME = "HLG to SDR"
WEIGHTS = np.array([0.2627, 0.6780, 0.0593])
HLG_WHITE = 0.26496
"""E of HDR reference white (75 %) where 1.0 is the peak of HLG."""


def to_display(peak: float) -> Step:
    """Scene light (1.0 at 75 %) to display light (1.0 at 203 cd/m²) of a display of this peak."""
    gamma = 1.2 + 0.42 * np.log10(peak / 1000)

    def apply(light: Array) -> Array:
        e = np.maximum(light * HLG_WHITE, 0)
        y = np.maximum(e @ WEIGHTS, 1e-9)[..., None]
        return peak * y ** (gamma - 1) * e / REFERENCE_WHITE

    return Step("ootf", apply)


def generate(rng: np.random.Generator) -> Case:
    """OOTF, then clipped at reference white, or the EETF, or a tone curve."""
    legal = "legal" if rng.random() < 0.3 else "full"
    target = "BT.709" if rng.random() < 0.75 else "BT.2020"
    ends = Ends("BT.2100 HLG", "BT.2020", "BT.1886", target, legal, legal)
    peak = float(rng.choice([600, 1000, 1000, 1000]))
    way = int(rng.integers(3))
    white = float(rng.choice([100.0, REFERENCE_WHITE]))
    tone = (lambda x: x, eetf(peak, white), some_tone(rng))[way]
    scale = REFERENCE_WHITE / white if way == 1 else 1.0
    steps = [
        *ends.opening(),
        to_display(peak),
        ends.conversion(),
        Step("tone", tone),
        Step("exposure", lambda rgb: rgb * scale),
        *ends.closing(),
    ]
    truth = ends.truth(look=None) if way == 0 else ends.toned(look=None)
    return baked(NAME, rng, truth, steps)
