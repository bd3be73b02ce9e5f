"""HDR to SDR by method C of Report ITU-R BT.2446.

Source: Report ITU-R BT.2446-1, section 6 (from memory; k1 0.83802, k2 15.09968,
k3 0.74204, k4 78.99439, inflection at 58.5 / k1, light in percent of 100 cd/m²).
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import Ends
from open_world.spaces import REFERENCE_WHITE, primaries_of, to_xyz

NAME = "BT.2446 method C"
K1, K2, K3, K4 = 0.83802, 15.09968, 0.74204, 78.99439


def generate(rng: np.random.Generator) -> Case:
    """Display light of PQ (or of HLG's scene side) through crosstalk, the curve on Y, and back."""
    target = "BT.2020" if rng.random() < 0.5 else "BT.709"
    ends = Ends("ST 2084", "BT.2020", "BT.1886", target)
    alpha = float(rng.choice([0.0, 0.04, 0.1]))
    cross = np.full((3, 3), alpha) + np.eye(3) * (1 - 3 * alpha)
    back = np.linalg.inv(cross)
    weights = to_xyz(*primaries_of("BT.2020"))[1]
    to_target = Ends("linear", "BT.2020", "linear", target).matrix

    def method_c(light: Array) -> Array:
        mixed = (light * REFERENCE_WHITE) @ cross.T
        y = np.maximum(mixed @ weights, 1e-6)
        turn = 58.5 / K1
        high = K2 * np.log(np.maximum(y / turn - K3, 1e-9)) + K4
        shown = np.where(y < turn, K1 * y, high)
        ratio = (shown / y)[..., None]
        return ((mixed * ratio) @ back.T / 100) @ to_target.T

    steps = [*ends.opening(), Step("tone", method_c), *ends.closing()]
    return baked(NAME, rng, ends.toned(look=None), steps)
