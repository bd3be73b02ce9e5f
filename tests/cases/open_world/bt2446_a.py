"""HDR to SDR by method A of Report ITU-R BT.2446.

Source: Report ITU-R BT.2446-1, section 4 (from memory; its constants 1.0770, -1.1510,
2.7811, -0.6302, 0.5 and the knee points 0.7399 and 0.9909).
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import Ends
from open_world.spaces import REFERENCE_WHITE

NAME = "BT.2446 method A"
WEIGHTS = np.array([0.2627, 0.6780, 0.0593])


def generate(rng: np.random.Generator) -> Case:
    """PQ of a display of 1000 cd/m² (sometimes another) to SDR of 100 cd/m²."""
    target = "BT.2020" if rng.random() < 0.5 else "BT.709"
    legal = "legal" if rng.random() < 0.2 else "full"
    ends = Ends("ST 2084", "BT.2020", "BT.1886", target, legal, legal)
    peak = float(rng.choice([1000, 1000, 2000, 4000]))
    to_target = Ends("linear", "BT.2020", "linear", target).matrix

    def method_a(light: Array) -> Array:
        signal = np.clip(light * REFERENCE_WHITE / peak, 0, 1) ** (1 / 2.4)
        hdr, sdr = 1 + 32 * (peak / 10000) ** (1 / 2.4), 1 + 32 * (100 / 10000) ** (1 / 2.4)
        luma = signal @ WEIGHTS
        p = np.log(1 + (hdr - 1) * luma) / np.log(hdr)
        middle = -1.1510 * p**2 + 2.7811 * p - 0.6302
        c = np.where(p <= 0.7399, 1.0770 * p, np.where(p < 0.9909, middle, 0.5 * p + 0.5))
        shown = (sdr**c - 1) / (sdr - 1)
        f = shown / np.maximum(1.1 * luma, 1e-9)
        cb = f * (signal[..., 2] - luma) / 1.8814
        cr = f * (signal[..., 0] - luma) / 1.4746
        y = shown - np.maximum(0.1 * cr, 0)
        red, blue = y + 1.4746 * cr, y + 1.8814 * cb
        green = (y - WEIGHTS[0] * red - WEIGHTS[2] * blue) / WEIGHTS[1]
        rgb = np.clip(np.stack([red, green, blue], axis=-1), 0, 1)
        return (rgb**2.4) @ to_target.T

    steps = [*ends.opening(), Step("tone", method_a), *ends.closing()]
    return baked(NAME, rng, ends.toned(look=None), steps)
